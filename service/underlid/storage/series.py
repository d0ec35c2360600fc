"""Raw series as values: cutting, joining, merging."""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.storage.protocols import Integers, RawSeries

_NONE: Final = np.zeros(0, np.int64)

NOTHING: Final = RawSeries(_NONE, _NONE, {}, _NONE)
"""A series without rows."""


def joined(parts: list[RawSeries]) -> RawSeries:
    """Return series that follow each other as one."""
    if len(parts) <= 1:
        return parts[0] if parts else NOTHING
    names = list(dict.fromkeys(name for part in parts for name in part.values))
    sizes = [len(part.taken_at_ms) for part in parts]
    blank = np.full(max(sizes), np.nan)
    return RawSeries(
        np.concatenate([part.taken_at_ms for part in parts]),
        np.concatenate([part.received_at_ms for part in parts]),
        {
            name: np.concatenate(
                [
                    part.values[name] if name in part.values else blank[:size]
                    for part, size in zip(parts, sizes, strict=True)
                ]
            )
            for name in names
        },
        np.concatenate([part.time_source for part in parts]),
    )


def cut(series: RawSeries, start_ms: int, end_ms: int) -> RawSeries:
    """Return the part of *series* in [start_ms, end_ms)."""
    first, last = np.searchsorted(series.taken_at_ms, [start_ms, end_ms])
    if first == 0 and last == len(series.taken_at_ms):
        return series
    part = slice(int(first), int(last))
    return RawSeries(
        series.taken_at_ms[part],
        series.received_at_ms[part],
        {
            name: values[part]
            for name, values in series.values.items()
            if not np.isnan(values[part]).all()
        },
        series.time_source[part],
    )


def merged(under: RawSeries, over: RawSeries) -> RawSeries:
    """Return both series as one in time order; where both have a value, *over*'s stands.

    A row that gains a channel was complete only when that came; a row that is merely said again
    was there before. So the later time of receipt stands in the first case, the earlier in the
    second, and a replay never knows a value too early.
    """
    if not len(under.taken_at_ms) or not len(over.taken_at_ms):
        return over if len(over.taken_at_ms) else under
    first_over_ms, after_ms = int(over.taken_at_ms[0]), int(under.taken_at_ms[-1]) + 1
    if first_over_ms >= after_ms:
        return joined([under, over])
    tail = _merged(cut(under, first_over_ms, after_ms), over)
    if first_over_ms <= under.taken_at_ms[0]:
        return tail
    return joined([cut(under, 0, first_over_ms), tail])


def _merged(under: RawSeries, over: RawSeries) -> RawSeries:
    """Return two series of at least one row each as one."""
    taken_at_ms = np.union1d(under.taken_at_ms, over.taken_at_ms)
    at_under = np.searchsorted(taken_at_ms, under.taken_at_ms)
    at_over = np.searchsorted(taken_at_ms, over.taken_at_ms)
    gains = np.zeros(len(taken_at_ms), bool)
    values = {}
    for name in {**under.values, **over.values}:
        column = np.full(len(taken_at_ms), np.nan)
        if name in under.values:
            column[at_under] = under.values[name]
        if name in over.values:
            newer = over.values[name]
            said = ~np.isnan(newer)
            gains[at_over[said]] |= np.isnan(column[at_over[said]])
            column[at_over[said]] = newer[said]
        values[name] = column
    none = np.iinfo(np.int64).min
    first, then = np.full((2, len(taken_at_ms)), none)
    first[at_under], then[at_over] = under.received_at_ms, over.received_at_ms
    only_one = (first == none) | (then == none)
    received = np.where(gains | only_one, np.maximum(first, then), np.minimum(first, then))
    return RawSeries(taken_at_ms, received, values, _least(at_under, under, at_over, over))


def _least(at_under: Integers, under: RawSeries, at_over: Integers, over: RawSeries) -> Integers:
    """Return the time sources of both: the probe's own clock stands where either had it."""
    most = np.iinfo(np.int64).max
    source = np.full(1 + max(int(at_under[-1]), int(at_over[-1])), most)
    source[at_under] = under.time_source
    source[at_over] = np.minimum(source[at_over], over.time_source)
    return source
