"""Straight: a soil probe goes along a line that neither feeds, nor water, nor warmth explain.

Juice comes fast at first and ever slower, showers come by steps, water that is poured sinks in within
hours, and a cheap probe wanders with the bed's warmth. Each is given its share of the hours, as far as it
commonly reaches. What is left over, goes straight, and faster than beds do, is a drift. A day tells fast
ones; slow ones take three (`ramp.py`), as a leak may bring as much.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np

from underlid.binmodel.faults.fault import SOILS
from underlid.binmodel.faults.ramp import is_rough, runs_off, soil_limit_pct_d
from underlid.binmodel.faults.scene import HANDLING, Begin, Scene
from underlid.binmodel.food.feeds import water_over_g
from underlid.binmodel.probes.hot import BUCKET_MS, BUCKETS_PER_HOUR
from underlid.journal.entries import BeddingAdded, Feed, LiquidAdded, What
from underlid.science.numeric import Floats
from underlid.timeline import DAY_MS, HOUR_MS

PACES: Final = ((24, 1.6), (36, 1.3))
"""Over so many hours a drift must be so many times as fast as beds go at the most (our judgement)."""

KNOWN_SHARE: Final = 0.75
ENDS_H: Final = 3
GATE_SHARE: Final = 0.5
"""A line moves, from its first hours to its last, by this share of what it should at the least."""

SDS: Final = 2.0
NOISE_PCT: Final = 0.15
ALIKE_H: Final = 4.0
"""What an hour's mean is off its course by, and how many hours are off alike (our judgement)."""

LEVEL_SD_PCT: Final = 50.0
SLOPE_SD_PCT_D: Final = 6.0
WARMTH_SD_PCT_K: Final = 0.15
HANDLED_SD_PCT: Final = 1.5
"""How far, before they are looked at: where the line ends, how steep it is, what a kelvin makes of a probe,
and by how much hands in the bed shift it (our judgement)."""

JUICE_PER_D: Final = (2.5, 0.7)
SINKS_PER_D: Final = (6.0, 1.5)
"""Food gives its water fast or slowly, as water sinks in: both are tried together (our judgement)."""

COMES: Final = 0.35
COMES_SD: Final = 0.5
"""What of a feed's water over the bed's, or of water poured, comes to the probe at either pace: together
most of it, or next to nothing, or twice as much (our judgement)."""

UNWRITTEN_PER_D: Final = (0.7, 1.5, 3.0)
UNWRITTEN_SD_PCT: Final = 20.0
BEGAN_LEAST_H: Final = 9
STRAIGHTER: Final = 1.1
"""A feed that nobody wrote down gives its water at one of these paces. Hours that are not so much further
off that than off a line, each begun at any hour, may be one (our judgement)."""

EARLIER_MS: Final = 6 * DAY_MS


Shape = tuple[Floats, float, float]
"""A course over hours, and how much of it is expected, and its sd."""


class Line(NamedTuple):
    """Moisture's own slope at the end, % points a day, its sd, and what the hours are off it by."""

    slope_pct_d: float
    sd_pct_d: float
    rough_pct: float


def begins(scene: Scene, hours: Sequence[int]) -> list[Begin]:
    """Return the soil channels that, at one of *hours*, have gone along such a line for a day."""
    found = []
    for row in scene.rows(SOILS):
        values = scene.table.mean[row] * scene.pct_per_unit(row)
        for hour in hours:
            for span_h, times in PACES:
                if hour + 1 < span_h + 24:
                    continue
                begin = _begin(scene, row, hour, values, span_h, times)
                if begin is not None:
                    found.append(begin)
                    break
    return found


def _begin(
    scene: Scene, row: int, hour: int, values: Floats, span_h: int, times: float
) -> Begin | None:
    part = values[hour + 1 - span_h : hour + 1]
    known = ~np.isnan(part)
    if not (known[:ENDS_H].any() and known[-ENDS_H:].any()) or known.mean() < KNOWN_SHARE:
        return None
    went = float(np.nanmean(part[-ENDS_H:]) - np.nanmean(part[:ENDS_H]))
    fast = times * soil_limit_pct_d(scene, hour, rises=went > 0.0)
    if not abs(went) > GATE_SHARE * fast * span_h / 24.0:
        return None
    shapes = _shapes(scene, hour, part)
    line = _fit(part, shapes)
    rise = line.slope_pct_d * span_h / 24.0
    if abs(line.slope_pct_d) - SDS * line.sd_pct_d < fast or is_rough(line.rough_pct, rise):
        return None
    if rise > 0.0 and _may_be_juice(part, shapes, line):
        return None
    last = float(np.nanmean(part[-ENDS_H:]))
    if runs_off(values, hour, span_h, last - rise, last):
        return None
    start = scene.table.bucket_of(hour + 1) - span_h * BUCKETS_PER_HOUR
    return Begin(hour, row, start, (last - rise, last))


def _shapes(scene: Scene, hour: int, part: Floats) -> list[Shape]:
    """Return what the hours *part* up to *hour* are made of: the slope first."""
    count = len(part)
    end_ms = scene.table.bucket_of(hour + 1) * BUCKET_MS
    at_ms: Floats = end_ms - (count - 0.5 - np.arange(count, dtype=np.float64)) * HOUR_MS
    days = (at_ms - end_ms) / DAY_MS
    shapes = [(days, 0.0, SLOPE_SD_PCT_D), (np.ones(count), float(np.nanmean(part)), LEVEL_SD_PCT)]
    bed = scene.table.row("bed_temp_c")
    if bed is not None:
        warmth = scene.table.mean[bed, hour + 1 - count : hour + 1]
        usual = float(np.nanmean(warmth)) if not np.isnan(warmth).all() else 0.0
        shapes.append((np.nan_to_num(warmth - usual), 0.0, WARMTH_SD_PCT_K))
    return shapes + _explained(scene, at_ms, end_ms)


def _fit(part: Floats, shapes: Sequence[Shape]) -> Line:
    """Return the line through hours when all other shapes are taken off.

    Source: Bayesian linear regression, its noise no smaller than what is left, common statistics.
    """
    known = ~np.isnan(part)
    columns = np.stack([shape for shape, _, _ in shapes], axis=1)[known]
    mean, sd = (np.array([shape[one] for shape in shapes]) for one in (1, 2))
    prior, variance = np.diag(sd**-2.0), ALIKE_H * NOISE_PCT**2
    for _ in range(2):
        precision = prior + columns.T @ columns / variance
        fit = np.linalg.solve(precision, prior @ mean + columns.T @ part[known] / variance)
        rough = float(np.sqrt(np.mean((part[known] - columns @ fit) ** 2)))
        variance = ALIKE_H * max(NOISE_PCT, rough) ** 2
    return Line(float(fit[0]), float(np.sqrt(np.linalg.inv(precision)[0, 0])), rough)


def _may_be_juice(part: Floats, shapes: Sequence[Shape], line: Line) -> bool:
    """Tell whether water that began to come, and comes ever slower, fits about as well as a line."""
    days, others = shapes[0][0], shapes[1:]
    straight, juice = line.rough_pct, np.inf
    for first in range(len(part) - BEGAN_LEAST_H):
        since = np.maximum(0.0, days - days[first])
        straight = min(straight, _fit(part, [(since, 0.0, SLOPE_SD_PCT_D), *others]).rough_pct)
        for pace in UNWRITTEN_PER_D:
            comes = (1.0 - np.exp(-pace * since), 0.0, UNWRITTEN_SD_PCT)
            juice = min(juice, _fit(part, [comes, *others]).rough_pct)
    return juice < STRAIGHTER * straight


def _explained(scene: Scene, at_ms: Floats, end_ms: int) -> list[Shape]:
    """Return what the journal may have made of each hour."""
    comes = {pace: np.zeros(len(at_ms)) for pace in JUICE_PER_D + SINKS_PER_D}
    handled = []
    for entry in scene.window.entries:
        if not at_ms[0] - EARLIER_MS <= entry.at_ms < end_ms:
            continue
        days = np.maximum(0.0, at_ms - entry.at_ms) / DAY_MS
        for pace in SINKS_PER_D if isinstance(entry.what, LiquidAdded) else JUICE_PER_D:
            comes[pace] += _water_pct(scene, entry.what) * (1.0 - np.exp(-pace * days))
        if isinstance(entry.what, HANDLING) and entry.at_ms >= at_ms[0]:
            handled.append((1.0 * (at_ms > entry.at_ms), 0.0, HANDLED_SD_PCT))
    courses = [one - one[0] for one in comes.values() if np.ptp(one) > 0.0]
    return [*((one, COMES, COMES_SD) for one in courses), *handled]


def _water_pct(scene: Scene, what: What) -> float:
    """Return by how many % points an entry's water, mixed through the bed, makes it wetter, or drier."""
    bin_ = scene.window.bin
    target_pct = bin_.target_moisture_pct
    grams = 0.0
    if isinstance(what, LiquidAdded):
        grams = what.mass_g * (100.0 - target_pct) / 100.0
    elif isinstance(what, Feed):
        food = max(0.0, water_over_g(replace(what, bedding=()), target_pct))
        grams = food + water_over_g(Feed((), bedding=what.bedding), target_pct)
    elif isinstance(what, BeddingAdded):
        grams = water_over_g(Feed((), bedding=what.portions), target_pct)
    return grams / (10.0 * bin_.bed_kg)
