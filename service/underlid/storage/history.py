"""What a store has kept, as readings again, in the order in which they were received.

For a replay and for files. A year is read in the memory of a day.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping, Sequence
from math import isnan
from typing import Final

from underlid.readings.admission import AHEAD_MOST_MS
from underlid.readings.values import Reading
from underlid.storage.protocols import RawSeries, ReadingStore
from underlid.timeline import DAY_MS

CHUNK_MS: Final = DAY_MS
"""A stored history is read in days, so that a year needs the memory of a day."""


def stored_readings(
    store: ReadingStore, sheds: Mapping[str, str], start_ms: int, end_ms: int
) -> Iterator[Reading]:
    """Yield a store's readings of start ≤ taken < end, by when they were received.

    *sheds* gives the probes to read, and the shed of each.
    """
    held: list[tuple[int, int, str, Reading]] = []
    for day_ms in range(start_ms, end_ms, CHUNK_MS):
        for probe, shed in sheds.items():
            series = store.raw(probe, day_ms, min(day_ms + CHUNK_MS, end_ms))
            for one in _rows(series, probe, shed):
                heapq.heappush(held, (one.received_at_ms, one.taken_at_ms, probe, one))
        sure_ms = day_ms + CHUNK_MS - AHEAD_MOST_MS
        while held and held[0][0] < sure_ms:
            yield heapq.heappop(held)[3]
    while held:
        yield heapq.heappop(held)[3]


def _rows(series: RawSeries, probe: str, shed: str) -> Iterator[Reading]:
    """Yield a series' rows as readings."""
    names = list(series.values)
    columns: Sequence[list[float]] = [series.values[name].tolist() for name in names]
    rows = zip(*columns, strict=True) if columns else iter([()] * len(series.taken_at_ms))
    for taken, received, row in zip(
        series.taken_at_ms.tolist(), series.received_at_ms.tolist(), rows, strict=True
    ):
        values = {name: value for name, value in zip(names, row, strict=True) if not isnan(value)}
        yield Reading(probe, shed, taken, received, values)
