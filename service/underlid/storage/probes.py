"""The probes' ids: a name is turned into a number that is on disk before it is used.

The number is given in the transaction that holds the probe's first reading, so that no
acknowledged reading ever hangs on a number that a crash forgot.
"""

from __future__ import annotations

import sqlite3

from underlid.readings.values import Reading


class Probes:
    """Names, numbers and sheds of all probes that ever sent a reading."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self.numbers: dict[str, int] = {}
        self.names: dict[int, str] = {}
        self.sheds: dict[int, str] = {}
        """The shed in whose topics the probe spoke last."""

    def load(self) -> None:
        """Read what is on disk; after a rollback memory may be ahead of it."""
        rows = self._connection.execute("SELECT id, name, shed FROM probe").fetchall()
        self.numbers = {name: number for number, name, _ in rows}
        self.names = {number: name for number, name, _ in rows}
        self.sheds = {number: shed for number, _, shed in rows}

    def number_of(self, one: Reading) -> int:
        """Return the number of the reading's probe, giving one if need be."""
        number = self.numbers.get(one.probe)
        if number is None:
            return self._new(one)
        if self.sheds[number] != one.shed:
            self._connection.execute("UPDATE probe SET shed = ? WHERE id = ?", (one.shed, number))
            self.sheds[number] = one.shed
        return number

    def _new(self, one: Reading) -> int:
        cursor = self._connection.execute(
            "INSERT INTO probe (name, shed) VALUES (?, ?)", (one.probe, one.shed)
        )
        number = int(cursor.lastrowid or 0)
        self.numbers[one.probe] = number
        self.names[number] = one.probe
        self.sheds[number] = one.shed
        return number
