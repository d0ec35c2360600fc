"""Pulled out: the probe lies in the air. Its soil value falls to dry at once, its bed temperature
follows the air with all its swing.

A bed gets wetter at once when it is watered, never drier.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import SOILS, Span
from underlid.binmodel.faults.scene import DRYING, Begin, Scene, span_of
from underlid.binmodel.faults.table import LOOKBACK_H
from underlid.binmodel.hot import BUCKETS_PER_HOUR
from underlid.science.numeric import Floats

FALL_PCT: Final = 14.0
"""% points that a soil probe loses within two hours only when it leaves the bed (our judgement)."""

NOT_BY_WORK_PCT: Final = 25.0
"""Nor does a bed get so much drier by work on it."""

FALL_GATE_PCT: Final = 0.7 * FALL_PCT
"""What the fall from one hour to the next but one shows at the least."""

BACK_SHARE: Final = 0.5
"""It is back when half of the fall is made good."""

AIRS: Final = ("shed_temp_c", "headspace_temp_c")
FOLLOW_H: Final = 12
FOLLOW_MOVED_K: Final = 1.5
FOLLOWS_BELOW: Final = 0.06
DAMPED_FROM: Final = 0.3
"""What is left of the air's hourly changes when the bed's are taken off, by mean square: a probe in
the air leaves a few percent, one in a bed with τ of some hours over a third (our judgement)."""

BESIDE_K: Final = 1.5
DAMPED_H: Final = 48
HELD_MOST_H: Final = 7 * 24
"""After a week the new place is taken as meant."""

HANDLED_BEFORE: Final = BUCKETS_PER_HOUR
HANDLED_AFTER: Final = 3 * BUCKETS_PER_HOUR


def soil_begins(scene: Scene, at: int) -> list[Begin]:
    """Return the soil channels that fell dry in an hour of index ≥ *at*."""
    table = scene.table
    found = []
    for row in scene.rows(SOILS):
        scale = scene.pct_per_unit(row)
        low = table.mean[row] * scale
        first = max(1, at - 1)
        before = low[first - 1 : -1]
        falls = np.fmax(before, np.concatenate([[np.nan], before[:-1]])) - low[first:]
        for hour in (np.flatnonzero(falls >= FALL_GATE_PCT) + first).tolist():
            begin = _fall(scene, row, hour, low, at)
            if begin is not None:
                found.append(begin)
                break
    return found


def soil_ended(scene: Scene, row: int, at: int, span: Span) -> int | None:
    """Return the bucket from which the soil probe is back in the bed."""
    table = scene.table
    now, (before, fallen) = table.mean[row, at] * scene.pct_per_unit(row), span.anchor
    if now - fallen >= BACK_SHARE * (before - fallen):
        return table.bucket_of(at)
    held = table.bucket_of(at) - span.from_bucket
    return table.bucket_of(at) if held >= HELD_MOST_H * BUCKETS_PER_HOUR else None


def bed_begins(scene: Scene, hours: Sequence[int]) -> list[Begin]:
    """Return the bed probes that, at one of *hours*, have followed the air as they never did."""
    found = []
    for row in scene.rows(("bed_temp_c",)):
        for which, channel in enumerate(AIRS):
            air = scene.table.row(channel)
            left = None if air is None else left_of_air(scene, row, air)
            if air is None or left is None:
                continue
            for hour in hours:
                if hour >= DAMPED_H and _follows(scene, row, air, hour, left):
                    start = scene.table.bucket_of(hour - FOLLOW_H + 1)
                    found.append(Begin(hour, row, start, (float(which),)))
                    break
    return found


def bed_ended(scene: Scene, row: int, at: int, span: Span) -> int | None:
    """Return the bucket from which the bed probe no longer follows the air."""
    table = scene.table
    air = table.row(AIRS[int(span.anchor[0])])
    if air is None:
        return None
    last = slice(max(0, at - 2), at + 1)
    gone = np.abs(table.mean[row, last] - table.mean[air, last])
    if len(gone) == 3 and (gone > BESIDE_K + 0.5).all():
        return table.bucket_of(at - 2)
    left = left_of_air(scene, row, air)
    moves = span_of(scene, air, max(0, at - FOLLOW_H + 1), at + 1) >= FOLLOW_MOVED_K
    if left is not None and moves and left[at] > DAMPED_FROM:
        return table.bucket_of(at - FOLLOW_H // 2)
    return None


def left_of_air(scene: Scene, row: int, air: int) -> Floats | None:
    """Return, at each hour, the share of the air's changes over twelve hours that the bed has not."""
    table = scene.table
    bed_steps, air_steps = np.diff(table.mean[row]), np.diff(table.mean[air])
    known = ~np.isnan(bed_steps + air_steps)
    if np.count_nonzero(known) < DAMPED_H:
        return None
    rest = np.cumsum(np.where(known, (bed_steps - air_steps) ** 2, 0.0))
    whole = np.cumsum(np.where(known, air_steps**2, 0.0))
    result = np.full(table.hours, np.nan)
    span = FOLLOW_H - 1
    with np.errstate(invalid="ignore", divide="ignore"):
        result[span + 1 :] = (rest[span:] - rest[:-span]) / (whole[span:] - whole[:-span])
    return result


def _fall(scene: Scene, row: int, hour: int, wet: Floats, at: int) -> Begin | None:
    """Return the fall that shows at *hour*, if it stays for the hour after."""
    table = scene.table
    if hour + 1 >= table.hours or hour + 1 < at:
        return None
    past = wet[max(0, hour - 25) : hour - 1]
    past = past[~np.isnan(past)]
    after = wet[hour + 1]
    if len(past) < 6 or np.isnan(after):
        return None
    before = float(np.median(past))
    recent = float(np.fmax(wet[hour - 1], wet[max(0, hour - 2)]))
    if min(before, recent) - after < FALL_PCT:
        return None
    start = table.bucket_of(hour - 1)
    worked = scene.was_handled(start, HANDLED_BEFORE, HANDLED_AFTER, DRYING)
    if worked and before - after < NOT_BY_WORK_PCT:
        return None
    return Begin(hour + 1, row, start, (before, float(after)))


def _follows(scene: Scene, row: int, air: int, hour: int, left: Floats) -> bool:
    if not left[hour] < FOLLOWS_BELOW:
        return False
    table = scene.table
    start = hour - FOLLOW_H + 1
    if span_of(scene, air, start, hour + 1) < FOLLOW_MOVED_K:
        return False
    beside = table.mean[row, start : hour + 1] - table.mean[air, start : hour + 1]
    if abs(float(np.nanmean(beside))) > BESIDE_K:
        return False
    past = left[max(0, hour - LOOKBACK_H) : max(0, start - FOLLOW_H)]
    past = past[~np.isnan(past)]
    return len(past) >= DAMPED_H // 2 and float(np.median(past)) >= DAMPED_FROM
