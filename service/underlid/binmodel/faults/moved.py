"""Moved: the bed's temperature makes a step that no bed makes by itself, and stays there.

Somebody took the probe and put it elsewhere, or handled the bin. Work that the journal has explains it.
The channel is left out while the probe settles; then it is believed at its new place.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import SOILS, Span
from underlid.binmodel.faults.pulled import FALL_PCT
from underlid.binmodel.faults.scene import DRYING, Begin, Scene
from underlid.binmodel.faults.table import Integers
from underlid.binmodel.hot import BUCKETS_PER_HOUR
from underlid.science.numeric import Floats

RATE_K_H: Final = 5.0
"""Faster, a bed does not warm or cool (science page, probes)."""

STEP_K: Final = 1.4
"""Smaller steps are not worth a word (our judgement)."""

WITHIN: Final = 3
APART_MOST: Final = 12
"""Buckets between the two values of a step: a quarter of an hour, for slow probes an hour."""

SOIL_STEP_PCT: Final = 5.0
"""% points that a soil probe loses within two hours only when it is moved (our judgement); a rise may
be water. What it said before, at another place, is no part of any trend."""

STAYS: Final = 0.6
"""Share of the step that is still there an hour later; else it was a spike or a visit."""

SETTLES_H: Final = 3
HANDLED_BEFORE: Final = 2 * BUCKETS_PER_HOUR
HANDLED_AFTER: Final = 4 * BUCKETS_PER_HOUR
"""Notes are written an hour or two before or after the work."""


def begins(scene: Scene, at: int) -> list[Begin]:
    """Return the steps of bed probes that are seen to stay in an hour of index ≥ *at*."""
    table = scene.table
    found = []
    for row in scene.rows(("bed_temp_c",)):
        first = max(0, at - 2)
        low, high = table.low[row, first:], table.high[row, first:]
        if not len(low) or not np.fmax.reduce(high) - np.fmin.reduce(low) > STEP_K:
            continue
        found += _of_row(scene, row, at)
    return found


def soil_begins(scene: Scene, at: int) -> list[Begin]:
    """Return the soil channels that fell by a step, and stayed, in an hour of index ≥ *at*."""
    table = scene.table
    found = []
    for row in scene.rows(SOILS):
        wet = table.mean[row] * scene.pct_per_unit(row)
        first = max(2, at - 1)
        falls = np.fmin(wet[first - 1 : -1], wet[first - 2 : -2]) - wet[first:]
        for hour in (np.flatnonzero(falls >= SOIL_STEP_PCT) + first).tolist():
            start = table.bucket_of(hour - 1)
            stays = hour + 1 < table.hours and hour + 1 >= at
            if not stays or not SOIL_STEP_PCT <= wet[hour - 2] - wet[hour + 1] < FALL_PCT:
                continue
            past = wet[max(0, hour - 26) : hour - 1]
            if np.nanmedian(past) - wet[hour + 1] < SOIL_STEP_PCT:
                continue
            if not scene.was_handled(start, HANDLED_BEFORE, HANDLED_AFTER, DRYING):
                found.append(Begin(hour + 1, row, start))
                break
    return found


def ended(scene: Scene, row: int, at: int, span: Span) -> int | None:  # noqa: ARG001
    """Return the bucket at which the probe has settled."""
    until = span.from_bucket + SETTLES_H * BUCKETS_PER_HOUR
    return until if scene.table.bucket_of(at + 1) >= until else None


def _of_row(scene: Scene, row: int, at: int) -> list[Begin]:
    table = scene.table
    skip = max(0, at - 4) * BUCKETS_PER_HOUR
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
        before = calm[max(0, int(np.searchsorted(buckets, bucket - WITHIN)) - 1)]
        left = float(np.median(calm[place : later + 1])) - before
        step = calm[place] - before
        stays = left * np.sign(step) >= STAYS * abs(step)
        start = table.first_bucket + bucket - WITHIN
        if hour < at or not stays or abs(left) < STEP_K:
            continue
        if scene.was_handled(start, HANDLED_BEFORE, HANDLED_AFTER):
            continue
        if found and start - found[-1].from_bucket < SETTLES_H * BUCKETS_PER_HOUR:
            continue
        found.append(Begin(hour, row, start))
    return found


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
