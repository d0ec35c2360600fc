"""The probes that ever spoke, with their newest values: in memory, found again at a start.

Packing notes in a probe's own row what the newest packed values are, in the transaction that
writes the block; the hot table has the rest. So a start needs neither blocks nor more writing.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

import msgspec
import numpy as np

from underlid.storage.hot import Key, Row
from underlid.storage.probes import Probes
from underlid.storage.protocols import ProbeSeen, RawSeries


class Newest(msgspec.Struct, array_like=True):
    """Times of a probe, and of each channel its newest value with the time of that."""

    first_taken_at_ms: int
    last_taken_at_ms: int
    last_received_at_ms: int
    values: dict[str, tuple[int, float]]

    @classmethod
    def of(cls, series: RawSeries) -> Newest:
        """Return what a series of at least one row says."""
        first_ms = int(series.taken_at_ms[0])
        newest = cls(first_ms, first_ms, first_ms, {})
        newest.note_series(series)
        return newest

    def note(self, first_ms: int, last_ms: int, received_ms: int) -> None:
        """Take in rows of [first_ms, last_ms]."""
        self.first_taken_at_ms = min(self.first_taken_at_ms, first_ms)
        self.last_taken_at_ms = max(self.last_taken_at_ms, last_ms)
        self.last_received_at_ms = max(self.last_received_at_ms, received_ms)

    def note_value(self, channel: str, at_ms: int, value: float) -> None:
        """Take in a value; of two of one time the later noted stands."""
        held = self.values.get(channel)
        if held is None or at_ms >= held[0]:
            self.values[channel] = (at_ms, value)

    def note_series(self, series: RawSeries) -> None:
        """Take in a series of at least one row."""
        self.note(
            int(series.taken_at_ms[0]),
            int(series.taken_at_ms[-1]),
            int(series.received_at_ms.max()),
        )
        for channel, column in series.values.items():
            place = int(np.flatnonzero(~np.isnan(column))[-1])
            self.note_value(channel, int(series.taken_at_ms[place]), float(column[place]))


_encode = msgspec.msgpack.Encoder().encode
_decode = msgspec.msgpack.Decoder(Newest).decode


def newest_packed(reader: sqlite3.Connection, probe: int) -> Newest | None:
    """Return what was noted when the probe's rows were last packed."""
    row = reader.execute("SELECT newest_packed FROM probe WHERE id = ?", (probe,)).fetchone()
    return _decode(row[0]) if row and row[0] else None


def keep_newest_packed(connection: sqlite3.Connection, probe: int, newest: Newest) -> None:
    """Note what is packed, in the transaction that writes the block."""
    connection.execute("UPDATE probe SET newest_packed = ? WHERE id = ?", (_encode(newest), probe))


class SeenProbes:
    """Newest values by probe. The disk has them as rows, so writing them twice is not needed.

    One thread notes; others may look at the same time.
    """

    def __init__(self, probes: Probes) -> None:
        self._probes = probes
        self._newest: dict[int, Newest] = {}

    def load(self, reader: sqlite3.Connection) -> None:
        """Find each probe's newest values: what packing noted, and what the hot rows say."""
        self._newest = {
            number: _decode(packed)
            for number, packed in reader.execute("SELECT id, newest_packed FROM probe")
            if packed
        }
        channels = reader.execute("SELECT name, id FROM channel ORDER BY id").fetchall()
        newest = [f", max(CASE WHEN c{number} IS NOT NULL THEN time END)" for _, number in channels]
        found = reader.execute(
            f"SELECT probe, min(time), max(time), max(time + delay_ms){''.join(newest)}"
            " FROM hot GROUP BY probe"
        ).fetchall()
        for probe, first_ms, last_ms, received_ms, *times in found:
            mine = self._of(probe, first_ms)
            mine.note(first_ms, last_ms, received_ms)
            for (channel, number), at_ms in zip(channels, times, strict=True):
                if at_ms is not None:
                    value = reader.execute(
                        f"SELECT c{number} FROM hot WHERE time = ? AND probe = ?", (at_ms, probe)
                    ).fetchone()[0]
                    mine.note_value(channel, at_ms, value)

    def note(self, rows: Mapping[Key, Row]) -> None:
        """Take in what has just been stored."""
        for (at_ms, probe), (values, delay_ms, _) in rows.items():
            mine = self._of(probe, at_ms)
            mine.note(at_ms, at_ms, at_ms + delay_ms)
            held = mine.values
            for channel, value in values.items():  # `note_value`, spelt out: once a value
                if channel not in held or at_ms >= held[channel][0]:
                    held[channel] = (at_ms, value)

    def get(self, probe: str) -> ProbeSeen | None:
        """Return one probe, or None when it never spoke."""
        number = self._probes.numbers.get(probe)
        mine = None if number is None else self._newest.get(number)
        return None if number is None or mine is None else self._shown(number, mine)

    def all(self) -> list[ProbeSeen]:
        """Return all probes, by name."""
        shown = [self._shown(number, mine) for number, mine in list(self._newest.items())]
        return sorted(shown, key=lambda one: one.probe)

    def newest(self) -> list[tuple[str, str, Newest]]:
        """Return name, shed and newest values of every probe, for merging with another's."""
        return [
            (self._probes.names[number], self._probes.sheds[number], mine)
            for number, mine in list(self._newest.items())
        ]

    def newest_of(self, probe: str) -> tuple[str, Newest] | None:
        """Return shed and newest values of one probe, for merging; None when it never spoke."""
        number = self._probes.numbers.get(probe)
        mine = None if number is None else self._newest.get(number)
        return None if number is None or mine is None else (self._probes.sheds[number], mine)

    def _of(self, probe: int, at_ms: int) -> Newest:
        mine = self._newest.get(probe)
        if mine is None:
            mine = self._newest[probe] = Newest(at_ms, at_ms, at_ms, {})
        return mine

    def _shown(self, number: int, mine: Newest) -> ProbeSeen:
        values = dict(mine.values)  # one step for the interpreter: the writer may add a channel
        return ProbeSeen(
            self._probes.names[number],
            self._probes.sheds[number],
            mine.first_taken_at_ms,
            mine.last_taken_at_ms,
            mine.last_received_at_ms,
            {channel: value for channel, (_, value) in values.items()},
        )
