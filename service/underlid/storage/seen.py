"""The probes that ever spoke, with their newest values: in memory, found again at a start."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Final

import numpy as np

from underlid.readings.values import Reading
from underlid.storage.day_block import unpack
from underlid.storage.packing import read_hot
from underlid.storage.protocols import ProbeSeen, RawSeries
from underlid.storage.series import NOTHING, merged
from underlid.timeline import DAY_MS, HOUR_MS

RECENT_MS: Final = 2 * HOUR_MS
"""At a start, newest values are looked for this far back in the hot rows; for a probe that has been
silent longer, in its newest block."""


class SeenProbes:
    """Newest values by probe. The disk has them as rows, so writing them twice is not needed."""

    def __init__(self, seen: dict[str, ProbeSeen]) -> None:
        self._seen = seen

    @classmethod
    def load(cls, reader: sqlite3.Connection) -> SeenProbes:
        """Find each probe's newest values in the file."""
        channels = dict(reader.execute("SELECT name, id FROM channel ORDER BY id"))
        newest_ms = reader.execute("SELECT max(time) FROM hot").fetchone()[0] or 0
        probes = reader.execute("SELECT id, name, shed, first_taken_at_ms FROM probe").fetchall()
        numbers = tuple(row[0] for row in probes)
        recent = read_hot(reader, channels, newest_ms - RECENT_MS, newest_ms + 1, numbers)
        lasts = dict(reader.execute("SELECT probe, max(time) FROM hot GROUP BY probe"))
        days = dict(reader.execute("SELECT probe, max(day) FROM packed_day GROUP BY probe"))
        seen = {}
        for number, name, shed, first_ms in probes:
            series = recent.get(number)
            if series is None and number in lasts:
                last_ms = lasts[number]
                series = read_hot(reader, channels, last_ms, last_ms + 1, (number,))[number]
            if series is None or days.get(number, -1) >= lasts[number] // DAY_MS:
                series = merged(_newest_block(reader, number), series or NOTHING)
            if len(series.taken_at_ms):
                seen[name] = _seen_in(series, name, shed, first_ms)
        return cls(seen)

    def all(self) -> list[ProbeSeen]:
        """Return all probes, by id."""
        return sorted(self._seen.values(), key=lambda one: one.probe)

    def get(self, probe: str) -> ProbeSeen | None:
        """Return one probe, or None when it never spoke."""
        return self._seen.get(probe)

    def note(self, readings: Sequence[Reading]) -> None:
        """Take in what has just been stored."""
        for one in readings:
            seen = self._seen.get(one.probe)
            if seen is None:
                at_ms = one.taken_at_ms
                self._seen[one.probe] = ProbeSeen(
                    one.probe, one.shed, at_ms, at_ms, one.received_at_ms, dict(one.values)
                )
                continue
            newest = one.taken_at_ms >= seen.last_taken_at_ms
            older, newer = (
                (seen.last_values, one.values) if newest else (one.values, seen.last_values)
            )
            self._seen[one.probe] = ProbeSeen(
                one.probe,
                one.shed if newest else seen.shed,
                min(seen.first_taken_at_ms, one.taken_at_ms),
                max(seen.last_taken_at_ms, one.taken_at_ms),
                max(seen.last_received_at_ms, one.received_at_ms),
                {**older, **newer},
            )


def _seen_in(series: RawSeries, name: str, shed: str, first_ms: int) -> ProbeSeen:
    """Return what the last rows of a probe say of it."""
    return ProbeSeen(
        name,
        shed,
        min(first_ms, int(series.taken_at_ms[0])),
        int(series.taken_at_ms[-1]),
        int(series.received_at_ms.max()),
        {
            channel: float(column[~np.isnan(column)][-1])
            for channel, column in series.values.items()
            if not np.isnan(column).all()
        },
    )


def _newest_block(reader: sqlite3.Connection, probe: int) -> RawSeries:
    row = reader.execute(
        "SELECT block FROM packed_day WHERE probe = ? ORDER BY day DESC LIMIT 1", (probe,)
    ).fetchone()
    return unpack(row[0]) if row else NOTHING
