"""Raw series as values: cutting, joining, merging."""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.storage.protocols import RawSeries

NOTHING: Final = RawSeries(np.zeros(0, np.int64), np.zeros(0, np.int64), {})
"""A series without rows."""


def joined(parts: list[RawSeries]) -> RawSeries:
    """Return series that follow each other as one."""
    if not parts:
        return NOTHING
    names = list(dict.fromkeys(name for part in parts for name in part.values))
    return RawSeries(
        np.concatenate([part.taken_at_ms for part in parts]),
        np.concatenate([part.received_at_ms for part in parts]),
        {
            name: np.concatenate(
                [part.values.get(name, np.full(len(part.taken_at_ms), np.nan)) for part in parts]
            )
            for name in names
        },
    )


def cut(series: RawSeries, start_ms: int, end_ms: int) -> RawSeries:
    """Return the part of *series* in [start_ms, end_ms)."""
    first, last = np.searchsorted(series.taken_at_ms, [start_ms, end_ms])
    part = slice(int(first), int(last))
    return RawSeries(
        series.taken_at_ms[part],
        series.received_at_ms[part],
        {name: values[part] for name, values in series.values.items()},
    )


def merged(under: RawSeries, over: RawSeries) -> RawSeries:
    """Return both series as one in time order; where both have a value, *over*'s stands."""
    taken_at_ms = np.union1d(under.taken_at_ms, over.taken_at_ms)
    at_under = np.searchsorted(taken_at_ms, under.taken_at_ms)
    at_over = np.searchsorted(taken_at_ms, over.taken_at_ms)
    received = np.full(len(taken_at_ms), np.iinfo(np.int64).max)
    received[at_under] = under.received_at_ms
    received[at_over] = np.minimum(received[at_over], over.received_at_ms)
    values = {}
    for name in {**under.values, **over.values}:
        column = np.full(len(taken_at_ms), np.nan)
        if name in under.values:
            column[at_under] = under.values[name]
        if name in over.values:
            newer = over.values[name]
            column[at_over] = np.where(np.isnan(newer), column[at_over], newer)
        values[name] = column
    return RawSeries(taken_at_ms, received, values)
