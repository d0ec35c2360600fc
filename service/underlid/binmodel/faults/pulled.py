"""Pulled out: the probe lies in the air. Its soil value falls to dry at once, its bed temperature
follows the air with all its swing.

A bed gets wetter at once when it is watered, never drier.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import SOILS, Span
from underlid.binmodel.faults.in_air import DAY_H, has_the_airs_swing
from underlid.binmodel.faults.scene import DRYING, Begin, Scene, span_of
from underlid.binmodel.faults.table import LOOKBACK_H
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.science.numeric import Floats

FALL_PCT: Final = 14.0
"""% points that a soil probe loses within two hours only when it leaves the bed (our judgement)."""

NOT_BY_WORK_PCT: Final = 25.0
"""Nor does a bed get so much drier by work on it."""

FALL_GATE_PCT: Final = 0.7 * FALL_PCT
"""What the fall from one hour to the next but one shows at the least."""

BACK_SHARE: Final = 0.5
"""It is back when half of the fall is made good."""

DRY_INDEX: Final = 0.3
DRY_PCT: Final = 45.0
"""A soil probe in the air lies below this share of its way from dry to wet, or this moisture; one that
only came back from elsewhere does not (our judgement)."""

AIRS: Final = ("shed_temp_c", "headspace_temp_c")
FOLLOW_H: Final = 12
FOLLOW_MOVED_K: Final = 1.5
FOLLOWS_BELOW: Final = 0.06
DAMPED_FROM: Final = 0.3
"""What is left of the air's hourly changes when the bed's are taken off, by mean square: a probe in
the air leaves a few percent, one in a bed with τ of some hours over a third (our judgement)."""

NEVER_BELOW: Final = 0.15
"""Nor was so little left in any twelve hours before in which the air moved as fast."""

AS_FAST: Final = 0.5
"""Share of the mean square of the air's changes now; slower hours are no comparison: in them the
sensors' noise is all that is left."""

FAST_K_H: Final = 0.15
"""The air's changes from hour to hour vary by so much, root mean square: a slow rise that both follow
is no sign."""

UNTIL_H: Final = 18
"""The comparison ends so many hours before: by then the probe was surely still in its bed, for it is
asked every six hours about the twelve before."""

COMPARED_H: Final = 12
"""Hours to compare with, at the least."""

MEETS_H: Final = 3
APART_K: Final = 0.7
MET_K: Final = 0.5
"""A bed so far from the air, which in the hour of its soil probe's fall comes so near and stays, has
left the bed with it (our judgement; offsets of two sensors are 0.2..0.3 K)."""

BESIDE_K: Final = 1.5
DAMPED_H: Final = 48
HELD_MOST_H: Final = 7 * 24
"""After a week the new place is taken as meant; but a soil probe that still says dry is in no bed."""

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
    return found


def soil_ended(scene: Scene, row: int, at: int, span: Span) -> int | None:
    """Return the bucket from which the soil probe is back in the bed."""
    table = scene.table
    now, (before, fallen) = table.mean[row, at] * scene.pct_per_unit(row), span.anchor
    if now - fallen >= BACK_SHARE * (before - fallen):
        return table.bucket_of(at)
    held = table.bucket_of(at) - span.from_bucket
    if held < HELD_MOST_H * BUCKETS_PER_HOUR or np.isnan(now) or is_dry(scene, row, at, 1):
        return None
    return table.bucket_of(at)


def bed_begins(scene: Scene, hours: Sequence[int]) -> list[Begin]:
    """Return the bed probes that, at one of *hours*, are seen to lie in the air.

    Where the same probe has a soil channel, that must have fallen dry and be so still: bed and air of
    a thin wall, or of a heated house, may go together for days.
    """
    found = []
    for row in scene.rows(("bed_temp_c",)):
        for hour in hours:
            begin = _bed_out(scene, row, hour) if hour >= DAMPED_H else None
            if begin is not None:
                found.append(begin)
    return found


def bed_ended(scene: Scene, row: int, at: int, span: Span) -> int | None:
    """Return the bucket from which the bed probe no longer follows the air."""
    table = scene.table
    soils = soils_beside(scene, row, at, 1)
    if soils and not any(fallen_at(scene, one, at, 1) is not None for one in soils):
        return table.bucket_of(at)
    air = table.row(AIRS[int(span.anchor[0])])
    if air is None or soils:
        return None
    if table.bucket_of(at) - span.from_bucket >= HELD_MOST_H * BUCKETS_PER_HOUR:
        return table.bucket_of(at)
    last = slice(max(0, at - 2), at + 1)
    gone = np.abs(table.mean[row, last] - table.mean[air, last])
    if len(gone) == 3 and (gone > BESIDE_K + 0.5).all():
        return table.bucket_of(at - 2)
    left = left_of_air(scene, row, air)
    moves = span_of(scene, air, max(0, at - FOLLOW_H + 1), at + 1) >= FOLLOW_MOVED_K
    if left is not None and moves and left[at] > DAMPED_FROM:
        return table.bucket_of(at - FOLLOW_H // 2)
    return None


def _bed_out(scene: Scene, row: int, hour: int) -> Begin | None:
    """Return the begin of a bed probe's lying in the air, if at *hour* it is seen to do so."""
    table = scene.table
    soils = soils_beside(scene, row, hour, FOLLOW_H)
    falls = [fallen_at(scene, one, hour, MEETS_H) for one in soils]
    fell = min((one for one in falls if one is not None), default=None)
    if soils and fell is None:
        return None
    for which, channel in enumerate(AIRS):
        air = table.row(channel)
        if air is None:
            continue
        if fell is not None and _meets(scene, row, air, fell, hour):
            return Begin(hour, row, table.bucket_of(fell), (float(which),))
        left = left_of_air(scene, row, air)
        if left is not None and _follows(scene, row, air, hour, left):
            start = table.bucket_of(hour - FOLLOW_H + 1)
            return Begin(hour, row, start, (float(which),))
        if has_the_airs_swing(scene, row, air, hour, fell_dry=fell is not None):
            start = table.bucket_of(hour - DAY_H + 1 if fell is None else fell)
            return Begin(hour, row, start, (float(which),))
    return None


def _meets(scene: Scene, row: int, air: int, fell: int, hour: int) -> bool:
    """Tell whether the bed came upon the air's temperature when its soil probe fell dry."""
    gap = scene.table.mean[row] - scene.table.mean[air]
    before, after = gap[max(0, fell - FOLLOW_H) : fell], gap[max(fell + 2, hour - 5) : hour + 1]
    before, after = before[~np.isnan(before)], after[~np.isnan(after)]
    if len(before) < MEETS_H or len(after) < MEETS_H:
        return False
    apart = abs(float(np.median(before)))
    return apart >= APART_K and float(np.abs(after).max()) <= min(MET_K, apart / 2.0)


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
    return _was_damped(table.mean[air], hour, left)


def swings(air: Floats) -> Floats:
    """Return, at each hour, the variance of the air's hourly changes over twelve hours."""
    steps = np.diff(air)
    known = ~np.isnan(steps)
    result = np.full(len(air), np.nan)
    if len(steps) < FOLLOW_H:
        return result
    kept = np.where(known, steps, 0.0)
    count, total, squares = (
        np.convolve(one, np.ones(FOLLOW_H), "valid") for one in (known * 1.0, kept, kept**2)
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        result[FOLLOW_H:] = squares / count - (total / count) ** 2
    return result


def _was_damped(air: Floats, hour: int, left: Floats) -> bool:
    """Tell whether the bed, until a short time ago, lagged the air whenever that moved as fast."""
    moved = swings(air)
    first = max(0, hour - LOOKBACK_H)
    now = moved[hour]
    if not now >= FAST_K_H**2:
        return False
    past = slice(first, max(first, hour - UNTIL_H + 1))
    compared = left[past][moved[past] >= AS_FAST * now]
    compared = compared[~np.isnan(compared)]
    if len(compared) < COMPARED_H:
        return False
    return float(np.median(compared)) >= DAMPED_FROM and float(compared.min()) >= NEVER_BELOW


def soils_beside(scene: Scene, row: int, hour: int, hours: int) -> list[int]:
    """Return the soil rows of the same probe that said anything in the last *hours* up to *hour*."""
    table = scene.table
    return [
        one
        for one in scene.rows(SOILS)
        if table.keys[one][0] == table.keys[row][0]
        and table.known[one, max(0, hour - hours + 1) : hour + 1].any()
    ]


def fallen_at(scene: Scene, row: int, hour: int, hours: int) -> int | None:
    """Return the hour at which a soil channel fell dry, if in the last *hours* it still lies so."""
    wet = scene.table.mean[row, : hour + 1] * scene.pct_per_unit(row)
    now = wet[-hours:]
    now = now[~np.isnan(now)]
    if not len(now) or len(wet) < 4 or not is_dry(scene, row, hour, hours):
        return None
    before = np.fmax(wet[:-3], wet[1:-2])
    with np.errstate(invalid="ignore"):
        fell = before - np.fmax(wet[2:-1], wet[3:]) >= FALL_PCT
        lasts = before - float(now.max()) >= FALL_PCT
    at = np.flatnonzero(fell & lasts)
    return int(at[-1]) + 1 if len(at) else None


def is_dry(scene: Scene, row: int, hour: int, hours: int) -> bool:
    """Tell whether a soil channel lies near its dry end, as far as that is known."""
    probe, channel = scene.table.keys[row]
    recent = scene.table.mean[row, max(0, hour - hours + 1) : hour + 1]
    said = float(np.median(recent[~np.isnan(recent)]))
    if channel == "moisture_pct":
        return said <= DRY_PCT
    if channel == "soil_index":
        return said <= DRY_INDEX
    place = scene.places.get(probe)
    dry, wet = (place.soil_dry_raw, place.soil_wet_raw) if place else (None, None)
    if dry is None or wet is None or dry == wet:
        return True
    return (said - dry) / (wet - dry) <= DRY_INDEX
