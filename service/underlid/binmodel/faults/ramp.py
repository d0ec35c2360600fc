"""Ramp: moisture or humidity goes one way day by day, evenly, and faster than beds do.

Moisture that goes much faster is told sooner (`straight.py`).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Final

import numpy as np

from underlid.binmodel.faults.drift import DAY_H, back_from, day_mean
from underlid.binmodel.faults.fault import SOILS, Span
from underlid.binmodel.faults.scene import Begin, Scene
from underlid.binmodel.faults.table import LOOKBACK_H
from underlid.binmodel.lids.humidity import SATURATED_PCT
from underlid.binmodel.probes.hot import BUCKET_MS, BUCKETS_PER_HOUR
from underlid.journal.entries import Feed, LiquidAdded
from underlid.science.numeric import Floats
from underlid.science.psychrometrics import vapour_pressure_deficit_pa

STEPS: Final = 3
SPAN_H: Final = STEPS * DAY_H
RAMP_PCT_D: Final = 1.7
"""% points a day. Real drying is 0.1..0.5, in a hot dry room the double (science page); a leak may bring
1.5."""

RH_RAMP_PCT_D: Final = 2.4
RH_RISE_PCT_D: Final = 2.8
"""Cover that gets wet, or a bed that dries, moves a leaky headspace by 1.5 to 2.5 a day (our judgement)."""

DRIER_TIMES: Final = 1.25
"""A headspace far from saturation leaks, and goes with its bed: what it lacks must grow by so much."""

LOSS_G_M2_D_KPA: Final = 2500.0
"""What an open wet surface loses at most, for each kPa of vapour pressure deficit: 2.5 mm/s times the
vapour that is missing, and half as much again through walls (our judgement)."""

ASSUMED_KPA: Final = 1.2
DRY_SHARE: Final = 0.45
STEEPER: Final = 1.3
"""Dry share of a bed that is far too dry, which loses most points for its water; and by how much a soil
probe may read steeper than the usual one (our judgement)."""

ROUGH_PCT: Final = 0.15
ROUGH_SHARE: Final = 0.03
"""A drift is a straight line but for the day's wiggle; showers and waterings go by steps (our
judgement)."""

EVEN: Final = (0.65, 1.5)
"""Each of the days' steps, as a share of their mean: water that goes by itself goes ever slower."""

NEW_SHARE: Final = 0.6
"""Share of the way that must lead where the channel has not been in the days before."""

WETS_SHARE: Final = 0.5
"""% points of moisture gained for each per cent of the bed's mass in feed or water, at the most: a wet
bed as a whole gains 0.25, around the probe it may be more (our judgement)."""

BACK_SHARE: Final = 0.6
HELD_MOST_H: Final = 7 * DAY_H


def begins(scene: Scene, hours: Sequence[int]) -> list[Begin]:
    """Return the channels that, at one of *hours*, have gone one way for three even days."""
    table = scene.table
    hours = [hour for hour in hours if hour >= (STEPS + 1) * DAY_H - 1]
    rows = scene.rows((*SOILS, "headspace_rh_pct")) if hours else []
    found = []
    for row in rows:
        is_soil = table.keys[row][1] in SOILS
        values = table.mean[row] * (scene.pct_per_unit(row) if is_soil else 1.0)
        if not is_soil:
            values = np.where(values < SATURATED_PCT, values, np.nan)
        means = day_mean(values, ~np.isnan(values))
        begun = (_begin(scene, row, hour, values, means) for hour in hours)
        found += [begin for begin in begun if begin is not None]
    return found


def _begin(scene: Scene, row: int, hour: int, values: Floats, means: Floats) -> Begin | None:
    """Return the ramp of three days that ends at *hour*, if there is one and nothing explains it."""
    is_soil = scene.table.keys[row][1] in SOILS
    before, last = float(means[hour - SPAN_H]), float(means[hour])
    fast = soil_limit_pct_d(scene, hour, rises=last > before) if is_soil else RH_RAMP_PCT_D
    if not _even(means[hour - SPAN_H : hour + 1 : DAY_H], fast):
        return None
    if runs_off(means, hour, SPAN_H, before, last):
        return None
    if is_soil:
        explained = _fed(scene, hour, last - before) or _by_steps(values, hour)
    else:
        explained = _leaks(before, last) or _air_explains(scene, hour, (last - before) / STEPS)
    if explained:
        return None
    start = scene.table.bucket_of(hour + 1) - SPAN_H * BUCKETS_PER_HOUR
    return Begin(hour, row, start, (before, last))


def ended(scene: Scene, row: int, at: int, span: Span) -> int | None:
    """Return the bucket from which the channel is back where it was before."""
    table = scene.table
    scale = scene.pct_per_unit(row) if table.keys[row][1] in SOILS else 1.0
    before, then = span.anchor
    held = table.bucket_of(at) - span.from_bucket
    if held >= HELD_MOST_H * BUCKETS_PER_HOUR:
        return table.bucket_of(at)
    off = np.abs(table.mean[row, max(0, at - 5) : at + 1] * scale - before)
    return back_from(scene, at, off, (1.0 - BACK_SHARE) * abs(then - before))


def _even(means: Floats, fast: float) -> bool:
    """Tell whether means, a day apart, lie on a line that is *fast* a day or steeper."""
    marks = means.tolist()
    mean = (marks[-1] - marks[0]) / STEPS
    if not abs(mean) >= fast:
        return False
    shares = [(after - before) / mean for before, after in itertools.pairwise(marks)]
    return all(EVEN[0] <= share <= EVEN[1] for share in shares)


def runs_off(values: Floats, hour: int, span_h: int, begun: float, last: float) -> bool:
    """Tell whether a way from *begun* to *last* only takes back what came before: water runs off."""
    earlier = values[max(0, hour + DAY_H - LOOKBACK_H) : hour - span_h]
    earlier = earlier[~np.isnan(earlier)]
    if not len(earlier):
        return True
    least = NEW_SHARE * abs(last - begun)
    beyond = earlier.min() - last if last < begun else last - earlier.max()
    return bool(beyond < least)


def soil_limit_pct_d(scene: Scene, hour: int, *, rises: bool) -> float:
    """Return how fast the bed's moisture may change, % points a day; it falls by the air of the days."""
    if rises:
        return RAMP_PCT_D
    table, bin_ = scene.table, scene.window.bin
    rows = table.row("shed_temp_c"), table.row("shed_rh_pct")
    deficit = ASSUMED_KPA
    if rows[0] is not None and rows[1] is not None:
        days = slice(max(0, hour + 1 - STEPS * DAY_H), hour + 1)
        temp_c, rh_pct = (table.mean[row, days] for row in rows if row is not None)
        known = ~np.isnan(temp_c + rh_pct)
        if known.any():
            humid = np.minimum(rh_pct[known], 100.0)
            deficit = float(vapour_pressure_deficit_pa(temp_c[known], humid).mean()) / 1000.0
    loss_kg = LOSS_G_M2_D_KPA * deficit * bin_.lid_area_m2 / 1000.0
    return max(RAMP_PCT_D, STEEPER * 100.0 * loss_kg * DRY_SHARE / bin_.bed_kg)


def _by_steps(values: Floats, hour: int) -> bool:
    """Tell whether moisture rose in steps, as by showers that nobody wrote down."""
    part = values[max(0, hour + 1 - SPAN_H) : hour + 1]
    at = np.flatnonzero(~np.isnan(part))
    if len(at) < DAY_H:
        return False
    slope, level = np.polyfit(at, part[at], 1)
    rough = float(np.sqrt(np.mean((part[at] - level - slope * at) ** 2)))
    rise = float(slope) * SPAN_H
    return rise > 0.0 and is_rough(rough, rise)


def is_rough(rough_pct: float, rise_pct: float) -> bool:
    """Tell whether hours are so far off their line that it is none."""
    return rough_pct > ROUGH_PCT + ROUGH_SHARE * abs(rise_pct)


def _fed(scene: Scene, hour: int, rise_pct: float) -> bool:
    """Tell whether feeds and water, from a day before the ramp on, may have wetted the bed so far."""
    until = scene.table.bucket_of(hour + 1)
    since = until - (SPAN_H + DAY_H) * BUCKETS_PER_HOUR
    given_g = sum(
        entry.what.mass_g
        for entry in scene.window.entries
        if isinstance(entry.what, Feed | LiquidAdded) and since <= entry.at_ms // BUCKET_MS < until
    )
    share_pct = 100.0 * given_g / (1000.0 * scene.window.bin.bed_kg)
    return 0.0 < rise_pct <= WETS_SHARE * share_pct


def _leaks(before: float, last: float) -> bool:
    """Tell whether a headspace's humidity may have gone so far in three days by itself."""
    if last > before:
        return last - before < STEPS * RH_RISE_PCT_D
    return 100.0 - last < DRIER_TIMES * (100.0 - before)


def _air_explains(scene: Scene, hour: int, mean: float) -> bool:
    """Tell whether the shed's humidity went the same way, at half the pace at the least."""
    row = scene.table.row("shed_rh_pct")
    if row is None:
        return False
    air = scene.table.mean[row]
    days = day_mean(air, ~np.isnan(air))
    pace = (days[hour] - days[hour - STEPS * DAY_H]) / STEPS
    return bool(pace * np.sign(mean) >= 0.5 * abs(mean))
