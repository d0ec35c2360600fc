"""Reading back: hot rows, packed days and kept hours as one, on a lent connection.

A hot row stands over a packed one of the same time; a day whose hours are kept is summed up again
only when hot rows have come for it since.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from typing import Final

import numpy as np

from underlid.storage.day_block import unpack
from underlid.storage.hot_rows import read_hot
from underlid.storage.packed_day import kept_hours
from underlid.storage.protocols import Integers, RawSeries
from underlid.storage.rollups import HOURS, Sums, from_blobs, hours_of, sums_of
from underlid.storage.series import NOTHING, cut, joined, merged
from underlid.timeline import DAY_MS, HOUR_MS

Channels = Collection[str] | None
"""Only these, or all."""

_AN_HOUR: Final = np.arange(HOURS, dtype=np.int64) * HOUR_MS


def read_raw(
    reader: sqlite3.Connection,
    probe: int,
    start_ms: int,
    end_ms: int,
    channels: Channels = None,
    fresh: RawSeries | None = None,
) -> RawSeries:
    """Return a probe's rows in [start_ms, end_ms); *fresh* are its hot ones if already read."""
    if fresh is None:
        fresh = read_hot(reader, start_ms, end_ms, (probe,), channels).get(probe, NOTHING)
    return merged(_packed(reader, probe, start_ms, end_ms, channels), fresh)


def bucket_sums(
    reader: sqlite3.Connection,
    probe: int,
    starts: Integers,
    step_ms: int,
    channels: Channels = None,
    fresh: RawSeries | None = None,
) -> dict[str, Sums]:
    """Return the sums per step that begins at each of *starts* (n ≥ 1, one after the other)."""
    first_ms, end_ms = int(starts[0]), int(starts[-1]) + step_ms
    if step_ms % HOUR_MS:
        series = read_raw(reader, probe, first_ms, end_ms, channels, fresh)
        return sums_of(series, first_ms, len(starts), step_ms)
    return _hour_sums(reader, probe, starts, step_ms, channels)


def _packed(
    reader: sqlite3.Connection, probe: int, start_ms: int, end_ms: int, channels: Channels
) -> RawSeries:
    """Return the rows of the probe's blocks in [start_ms, end_ms)."""
    blocks = reader.execute(
        "SELECT block FROM packed_day WHERE probe = ? AND day >= ? AND day <= ? ORDER BY day",
        (probe, start_ms // DAY_MS, (end_ms - 1) // DAY_MS),
    )
    parts = [unpack(block, channels) for (block,) in blocks]
    for place in {0, len(parts) - 1} if parts else ():
        parts[place] = cut(parts[place], start_ms, end_ms)
    return joined(parts)


def _hour_sums(
    reader: sqlite3.Connection, probe: int, starts: Integers, step_ms: int, channels: Channels
) -> dict[str, Sums]:
    """Sum hours up to steps: kept hours of packed days, raw rows of days with hot rows."""
    first_ms, end_ms = int(starts[0]), int(starts[-1]) + step_ms
    first_day, last_day = first_ms // DAY_MS, (end_ms - 1) // DAY_MS
    fresh = read_hot(reader, first_day * DAY_MS, (last_day + 1) * DAY_MS, (probe,), channels).get(
        probe, NOTHING
    )
    fresh_days = np.unique(fresh.taken_at_ms // DAY_MS).tolist()
    kept: dict[str, list[tuple[Integers, Sums]]] = {}
    for name, number in reader.execute("SELECT name, id FROM channel ORDER BY id").fetchall():
        if channels is not None and name not in channels:
            continue
        rows = reader.execute(
            "SELECT day, sums FROM hourly WHERE probe = ? AND channel = ?"
            " AND day >= ? AND day <= ? ORDER BY day",
            (probe, number, first_day, last_day),
        ).fetchall()
        if fresh_days:
            rows = [row for row in rows if row[0] not in fresh_days]
        if rows:
            days = np.array([day for day, _ in rows], np.int64)
            kept.setdefault(name, []).append((days, from_blobs([blob for _, blob in rows])))
    for day in fresh_days:
        for name, sums in _fresh_hours(reader, probe, day, channels, fresh).items():
            kept.setdefault(name, []).append((np.array([day], np.int64), sums))
    result = {}
    for name, parts in kept.items():
        result[name] = Sums.empty(len(starts))
        for days, sums in parts:
            hours_ms = (days[:, None] * DAY_MS + _AN_HOUR).ravel()
            inside = np.flatnonzero((hours_ms >= first_ms) & (hours_ms < end_ms))
            result[name].add_at((hours_ms[inside] - first_ms) // step_ms, sums.at(inside))
    return result


def _fresh_hours(
    reader: sqlite3.Connection, probe: int, day: int, channels: Channels, fresh: RawSeries
) -> dict[str, Sums]:
    """Return the hours of a day for which hot rows have come, as packing would make them."""
    start_ms, end_ms = day * DAY_MS, (day + 1) * DAY_MS
    packed = _packed(reader, probe, start_ms, end_ms, channels)
    hours = hours_of(merged(packed, cut(fresh, start_ms, end_ms)), day)
    if not len(packed.taken_at_ms):
        for name, sums in kept_hours(reader, probe, day).items():
            if channels is None or name in channels:
                hours[name] = sums.or_else(hours[name]) if name in hours else sums
    return hours
