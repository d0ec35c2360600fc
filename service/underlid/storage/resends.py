"""Telling a message that is sent again from a new one, when it has no time of its own.

A reading that carries its time is stored once because of its key (time, probe). One that was
placed by its receipt would be stored at every receipt; if the probe numbers its messages (`seq`),
number and values are remembered here, in the transaction that stores the reading, so that no
`kill -9` comes between. A number that comes with other values is a new reading: a probe that
begins to count anew loses nothing.
"""

from __future__ import annotations

import sqlite3
import zlib
from typing import Final

import msgspec

from underlid.readings.values import Reading, TimeSource
from underlid.timeline import DAY_MS

NUMBERS_KEPT_MS: Final = 7 * DAY_MS
"""How long a resend is recognised: a probe that was out of reach for longer is rare, and a number
weighs as much as five packed readings (our judgement)."""

_encode = msgspec.msgpack.Encoder().encode


class Resends:
    """The numbers of stored messages whose time is their receipt."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._probes: set[int] = set()

    def load(self) -> None:
        """Find the probes of which numbers are remembered."""
        rows = self._connection.execute(
            "SELECT id FROM probe WHERE EXISTS (SELECT 1 FROM numbered WHERE probe = id)"
        )
        self._probes = {number for (number,) in rows}

    def known(self, probe: int, one: Reading) -> bool:
        """Tell whether a numbered reading is stored already; remember it if not.

        The rows of one message share its number and moment of receipt, so a number known from
        another moment is a resend. A probe whose clock was set in between may say the same
        message again with a time; that is a resend as well.
        """
        if one.time_source is TimeSource.DEVICE:
            return probe in self._probes and self._has(probe, one)
        self._probes.add(probe)
        first_ms = self._connection.execute(
            "INSERT INTO numbered VALUES (?, ?, ?, ?)"
            " ON CONFLICT DO UPDATE SET received_at_ms = received_at_ms RETURNING received_at_ms",
            (probe, one.seq, _digest(one), one.received_at_ms),
        ).fetchall()[0][0]
        return bool(first_ms != one.received_at_ms)

    def _has(self, probe: int, one: Reading) -> bool:
        found = self._connection.execute(
            "SELECT 1 FROM numbered WHERE probe = ? AND seq = ? AND digest = ?",
            (probe, one.seq, _digest(one)),
        ).fetchall()
        return bool(found)


def _digest(one: Reading) -> int:
    return zlib.crc32(_encode(sorted(one.values.items())))
