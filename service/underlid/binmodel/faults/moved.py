"""Moved: the bed's temperature makes a step that no bed makes by itself, and stays there.

Somebody took the probe and put it elsewhere, or handled the bin. Work that the journal has explains it.
The channel is left out while the probe settles. Then the step is taken off what it says: a bed does not
warm by kelvins in minutes, so what it was at the old place goes on from there.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import SETTLES_H, Span
from underlid.binmodel.faults.scene import Begin, Scene
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.science.numeric import Floats, Integers

RATE_K_H: Final = 3.5
"""Faster, a bed does not warm or cool: with a time constant of three hours, the shortest there is, that
takes air that is 10 K away at once."""

STEP_K: Final = 1.2
"""Smaller steps are not worth a word (our judgement)."""

WITHIN: Final = 3
APART_MOST: Final = 12
"""Buckets between the two values of a step: a quarter of an hour, for slow probes an hour."""

TREND_H: Final = 3
"""Hours before a step that tell how the bed was going anyway."""

STAYS: Final = 0.6
"""Share of the step that is still there an hour later; else it was a spike or a visit."""

BACK_SHARE: Final = 0.35
"""A step back that differs by less than this share takes the first one back (our judgement)."""

HELD_MOST_H: Final = 12 * 24
"""Then the new place is taken as meant: a service that was started anew knows no more of the past."""

HANDLED_BEFORE: Final = 2 * BUCKETS_PER_HOUR
HANDLED_AFTER: Final = 4 * BUCKETS_PER_HOUR
"""Notes are written an hour or two before or after the work."""


def begins(scene: Scene, at: int) -> list[Begin]:
    """Return the steps of bed probes that are seen to stay in an hour of index ≥ *at*.

    One beside work on the bed is no fault, but may be the way back: who works there puts a probe right.
    """
    table = scene.table
    found = []
    for row in scene.rows(("bed_temp_c",)):
        first = max(0, at - 2)
        low, high = table.low[row, first:], table.high[row, first:]
        if not len(low) or not np.fmax.reduce(high) - np.fmin.reduce(low) > STEP_K:
            continue
        found += _of_row(scene, row, at)
    return found


def ended(scene: Scene, row: int, at: int, span: Span) -> int | None:  # noqa: ARG001
    """Return the bucket from which the new place is taken as meant; a step back ends it before."""
    now = scene.table.bucket_of(at + 1)
    return now if now - span.from_bucket >= HELD_MOST_H * BUCKETS_PER_HOUR else None


def is_undone(step_k: float, by_k: float) -> bool:
    """Tell whether one step takes another back.

    >>> is_undone(2.4, -2.2), is_undone(2.4, 2.2), is_undone(2.4, -1.2)
    (True, False, False)
    """
    return step_k * by_k < 0.0 and abs(step_k + by_k) <= BACK_SHARE * abs(step_k)


def _of_row(scene: Scene, row: int, at: int) -> list[Begin]:
    table = scene.table
    skip = max(0, at - 2 - TREND_H) * BUCKETS_PER_HOUR
    buckets, values = table.samples(row, skip)
    if len(values) < 5:
        return []
    calm = middle_of_three(values)
    found: list[Begin] = []
    for place in steps(buckets, calm):
        bucket = int(buckets[place])
        later = int(np.searchsorted(buckets, bucket + BUCKETS_PER_HOUR))
        if later >= len(calm):
            continue
        hour = int(buckets[later]) // BUCKETS_PER_HOUR
        left = _left(buckets, calm, place, later)
        start = table.first_bucket + bucket - WITHIN
        if hour < at or abs(left) < STEP_K:
            continue
        handled = scene.was_handled(start, HANDLED_BEFORE, HANDLED_AFTER)
        if found and start - found[-1].from_bucket < SETTLES_H * BUCKETS_PER_HOUR:
            continue
        found.append(Begin(hour, row, start, (left,), ends_only=handled))
    return found


def _left(buckets: Integers, calm: Floats, place: int, later: int) -> float:
    """Return what is left of a step an hour later; 0 when it was a spike or a visit."""
    until = int(np.searchsorted(buckets, buckets[place] - WITHIN, side="right"))
    since = int(np.searchsorted(buckets, buckets[place] - TREND_H * BUCKETS_PER_HOUR))
    if until == 0:
        return 0.0
    past, now = slice(min(since, until - 1), until), slice(place, later + 1)
    slope = slope_of(buckets[past], calm[past])
    before = float(np.median(calm[past] + slope * (buckets[place] - buckets[past])))
    left = float(np.median(calm[now] - slope * (buckets[now] - buckets[place]))) - before
    off = np.abs(calm[[until - 1, place]] - [before, before + left])
    return left if (off <= (1.0 - STAYS) * abs(left)).all() else 0.0


def slope_of(at: Integers, values: Floats) -> float:
    """Return how fast values go, by the halves of their span: one spike moves no median.

    >>> slope_of(np.arange(6), np.array([1.0, 2.0, 3.0, 4.0, 90.0, 6.0]))
    1.0
    """
    half = len(at) // 2
    if half < 3:
        return 0.0
    rises = (values[-half:] - values[:half]) / (at[-half:] - at[:half])
    return float(np.median(rises))


def middle_of_three(values: Floats) -> Floats:
    """Return the median of each value and its neighbours, so that single spikes are gone."""
    calm = values.copy()
    before, here, after = values[:-2], values[1:-1], values[2:]
    calm[1:-1] = np.maximum(np.minimum(before, here), np.minimum(np.maximum(before, here), after))
    return calm


def steps(buckets: Integers, values: Floats) -> list[int]:
    """Return the indices at which a value has left, too fast, the one shortly before."""
    earlier = np.maximum(np.searchsorted(buckets, buckets - WITHIN, side="right") - 1, 0)
    apart = buckets - buckets[earlier]
    rise = np.abs(values - values[earlier])
    fast = (apart > 0) & (apart <= APART_MOST) & (rise > STEP_K)
    fast &= rise > RATE_K_H / BUCKETS_PER_HOUR * apart
    found: list[int] = np.flatnonzero(fast).tolist()
    return found
