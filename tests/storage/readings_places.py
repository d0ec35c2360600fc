"""What the tests of the readings store share: readings, and a series as a plain dictionary."""

from __future__ import annotations

import numpy as np

from underlid.readings.values import Reading, TimeSource
from underlid.storage.protocols import Buckets, RawSeries, ReadingStore
from underlid.timeline import DAY_MS

START_MS = 20_000 * DAY_MS
FOREVER_MS = 2 * START_MS

Rows = dict[int, dict[str, float]]


def timed(probe: str, at_ms: int, values: dict[str, float], delay_ms: int = 0) -> Reading:
    return Reading(probe, "potting", at_ms, at_ms + delay_ms, values)


def untimed(probe: str, at_ms: int, values: dict[str, float], seq: int | None = None) -> Reading:
    return Reading(probe, "potting", at_ms, at_ms, values, TimeSource.RECEIPT, seq)


def rows_of(series: RawSeries) -> Rows:
    """Return a series as {time: {channel: value}}."""
    return {
        at: {
            name: float(column[place])
            for name, column in series.values.items()
            if not np.isnan(column[place])
        }
        for place, at in enumerate(series.taken_at_ms.tolist())
    }


def all_rows(store: ReadingStore, probe: str) -> Rows:
    return rows_of(store.raw(probe, 0, FOREVER_MS))


def check_buckets(found: Buckets, rows: Rows, start_ms: int, end_ms: int) -> None:
    """Compare buckets with sums made row by row."""
    step_ms = found.step_ms
    starts = range(start_ms // step_ms * step_ms, -(-end_ms // step_ms) * step_ms, step_ms)
    assert found.start_ms.tolist() == list(starts)
    by_bucket: dict[tuple[str, int], list[float]] = {}
    for at_ms, row in rows.items():
        for name, value in row.items():
            by_bucket.setdefault((name, at_ms // step_ms * step_ms), []).append(value)
    for name in {name for row in rows.values() for name in row} | set(found.count):
        for place, bucket_ms in enumerate(starts):
            values = by_bucket.get((name, bucket_ms))
            if values is None:
                assert name not in found.count or found.count[name][place] == 0
                assert name not in found.mean or np.isnan(found.mean[name][place])
                continue
            assert found.count[name][place] == len(values)
            assert found.low[name][place] == min(values)
            assert found.high[name][place] == max(values)
            largest = max(abs(value) for value in values)
            assert abs(found.mean[name][place] - np.mean(values)) <= 1e-12 * largest
