"""How fast the bed dries, and how much faster in drier air: a line through the days' changes.

From day mean to day mean a bed loses its usual rate, more when the shed's air takes up more water
than usual, and gains what feeds bring; a cheap soil probe wanders with the bed's temperature. All four
are fitted together, each from what is commonly so. Days with a watering, or a rise that nobody wrote
down, are left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot
from typing import Final

import numpy as np

from underlid.binmodel.bins import BinKind
from underlid.binmodel.food.feeds import water_over_g
from underlid.binmodel.taught.lessons import Lesson
from underlid.binmodel.taught.past import DAYS, Past
from underlid.binmodel.taught.posterior import counted
from underlid.binmodel.water.drying import JUMP_PCT, deficit_kpa
from underlid.binmodel.water.water_balance import WATERED_G
from underlid.journal.entries import BeddingAdded, Entry, Feed, Harvest, LiquidAdded, Turned
from underlid.science.numeric import Flags, Floats

USUAL_PCT_D: Final = {
    BinKind.FLOW_THROUGH_BAG: 0.2,
    BinKind.TRAY_STACK: 0.15,
    BinKind.WOODEN_BOX: 0.3,
    BinKind.PLASTIC_TOTE: 0.08,
    BinKind.TROUGH: 0.15,
}
"""% points a day in a mild shed, in drier air more in proportion; real beds lose 0.1 to 0.5, those that
breathe the most (our judgement)."""

USUAL_SD_PCT_D: Final = 0.25

USUAL_DEFICIT_KPA: Final = 0.8
"""Of a shed at 18 °C and 60 %."""

MORE_SHARE_SD: Final = 0.7
"""Loss grows in proportion with the deficit, by this share more or less: the bed's own warmth takes
water out too (our judgement)."""

FEED_SHARE: Final = 0.7
FEED_SHARE_SD: Final = 0.35
"""Of a feed's surplus water that is found where the probe sits (our judgement)."""

FEED_GIVES_D: Final = 1.2
"""A feed's juice comes out over days, as the cells fall apart (our judgement)."""

PROBE_SD_PCT_K: Final = 0.08
"""A soil probe's wander with temperature (science page: a few kelvin make a daily wiggle)."""

WANDER_PCT: Final = 0.08
NOISE_PCT: Final = 0.06
"""What else moves a bed from one day to the next, and what a day's mean is wrong by (our judgement)."""

TENTH_KPA: Final = 0.206
"""What 10 % of humidity is at 18 °C, where saturation is 2.06 kPa: keepers read humidities."""

LEAST_SHOWN: Final = 0.005
"""Points a day that would be shown as nothing."""

DAYS_LEAST: Final = 3
COVER_LEAST_H: Final = 12


@dataclass(frozen=True, slots=True)
class DryingLessons:
    """What is lost a day at the usual deficit, what more per kPa, and that deficit."""

    rate: Lesson
    per_kpa: Lesson
    deficit: Lesson


def drying_rate(past: Past, name: str) -> DryingLessons:
    """Return how the bed dries."""
    deficit = deficit_kpa(past.hourly("shed_temp_c"), past.hourly("shed_rh_pct"))
    known = deficit[~np.isnan(deficit)]
    usual = float(known.mean()) if len(known) else USUAL_DEFICIT_KPA
    per_kpa = USUAL_PCT_D[past.window.bin.kind] / USUAL_DEFICIT_KPA
    drier_sd = MORE_SHARE_SD * per_kpa * abs(usual - USUAL_DEFICIT_KPA)
    believed = np.array([per_kpa * usual, per_kpa, FEED_SHARE, 0.0])
    sds = np.array(
        [hypot(USUAL_SD_PCT_D, drier_sd), MORE_SHARE_SD * per_kpa, FEED_SHARE_SD, PROBE_SD_PCT_K]
    )
    moisture, temp, air = (
        _day_means(values)
        for values in (past.hourly("moisture_pct"), past.hourly("bed_temp_c"), deficit)
    )
    change = np.diff(moisture)
    use = ~np.isnan(change) & ~_jumped(change) & ~_watered(past)
    count = int(use.sum())
    if count >= DAYS_LEAST:
        level = float(np.nanmean(moisture))
        columns = np.stack(
            [
                -np.ones(DAYS - 1),
                -np.nan_to_num((air[1:] + air[:-1]) / 2.0 - usual),
                _fed_pct(past, level),
                np.nan_to_num(np.diff(temp)),
            ],
            axis=1,
        )
        believed, sds = _fit(
            columns[use], change[use], _covariance()[np.ix_(use, use)], believed, sds
        )
    return _told(past, name, believed, sds, usual, count)


def _day_means(hourly: Floats) -> Floats:
    by_day = hourly.reshape(DAYS, 24)
    known = ~np.isnan(by_day)
    count = known.sum(axis=1)
    sums = np.where(known, by_day, 0.0).sum(axis=1)
    result: Floats = np.where(count >= COVER_LEAST_H, sums / np.maximum(count, 1), np.nan)
    return result


def _jumped(change: Floats) -> Flags:
    """Return which changes are a rise that no bed makes by itself, or share one with a neighbour."""
    known = change[~np.isnan(change)]
    usual = min(0.0, float(np.median(known))) if len(known) else 0.0
    with np.errstate(invalid="ignore"):
        jumped: Flags = change - usual > JUMP_PCT
        both = change[1:] + change[:-1] - 2.0 * usual > JUMP_PCT
    jumped[1:] |= both
    jumped[:-1] |= both
    return jumped


def _watered(past: Past) -> Flags:
    """Return which changes touch a day on which much water came in, or the bed was turned over."""
    flags: Flags = np.zeros(DAYS - 1, dtype=np.bool_)
    for entry in past.entries:
        what = entry.what
        poured = isinstance(what, LiquidAdded) and what.mass_g >= WATERED_G
        if poured or isinstance(what, Turned | Harvest):
            day = int(past.hour_of(entry.at_ms) // 24)
            flags[max(0, day - 1) : day + 2] = True
    return flags


def _fed_pct(past: Past, level_pct: float) -> Floats:
    """Return by how much feeds and small waterings should have raised each day's mean, % points."""
    raised = np.zeros(DAYS)
    middles = np.arange(DAYS) * 24.0 + 12.0
    for entry in past.entries:
        water_g = _water_over_g(entry, level_pct)
        if water_g:
            days = np.maximum(0.0, middles - past.hour_of(entry.at_ms)) / 24.0
            share = 1.0 - np.exp(-days / FEED_GIVES_D)
            raised += share * water_g / (10.0 * past.window.bin.bed_kg)
    result: Floats = np.diff(raised)
    return result


def _water_over_g(entry: Entry, level_pct: float) -> float:
    what = entry.what
    if isinstance(what, Feed):
        # Most of a dry feed's own matter is gone before it has dried the bed.
        food = replace(what, bedding=())
        return max(0.0, water_over_g(food, level_pct)) + water_over_g(
            Feed((), bedding=what.bedding), level_pct
        )
    if isinstance(what, BeddingAdded):
        return water_over_g(Feed((), bedding=what.portions), level_pct)
    if isinstance(what, LiquidAdded) and what.mass_g < WATERED_G:
        return what.mass_g * (100.0 - level_pct) / 100.0
    return 0.0


def _covariance() -> Floats:
    """Return the covariance of the changes: wander, and noise that two neighbours share."""
    each = np.eye(DAYS - 1)
    beside = np.eye(DAYS - 1, k=1) + np.eye(DAYS - 1, k=-1)
    result: Floats = WANDER_PCT**2 * each + NOISE_PCT**2 * (2.0 * each - beside)
    return result


def _fit(
    columns: Floats, change: Floats, covariance: Floats, believed: Floats, sds: Floats
) -> tuple[Floats, Floats]:
    """Return posterior means and sds; noise is taken larger where the days scatter more."""
    prior = np.diag(1.0 / sds**2)
    inverse = np.linalg.inv(covariance)
    larger = 1.0
    for _ in range(2):
        precision = prior + columns.T @ inverse @ columns / larger
        fit = np.linalg.solve(precision, prior @ believed + columns.T @ inverse @ change / larger)
        left = change - columns @ fit
        larger = max(1.0, float(left @ inverse @ left) / len(change))
    spread: Floats = np.sqrt(np.diag(np.linalg.inv(precision)))
    return np.asarray(fit, dtype=np.float64), spread


def _told(
    past: Past, name: str, fit: Floats, sds: Floats, usual: float, count: int
) -> DryingLessons:
    rate, more = round(float(fit[0]), 3) + 0.0, round(float(fit[1]), 3) + 0.0
    rate_sd, more_sd = round(float(sds[0]), 3), round(float(sds[1]), 3)
    span = (past.start_ms, past.until_ms) if count else (None, None)
    since = (
        f"learnt from {counted(count, 'day')}"
        if count
        else f"by its kind: fewer than {DAYS_LEAST} whole days without watering are known"
    )
    return DryingLessons(
        Lesson(
            rate,
            rate_sd,
            f"{name} {_rate_words(rate, rate_sd)} in the air it usually has, {since}.",
            count,
            *span,
        ),
        Lesson(
            more,
            more_sd,
            f"Where the air of the shed is 10 % less humid, {name}"
            f" {_more_words(TENTH_KPA * more, TENTH_KPA * more_sd)}, {since}.",
            count,
            *span,
        ),
        Lesson(
            round(usual, 3),
            0.2 if count else 0.4,
            f"The air around {name} dries like that of a mild shed at {_humidity_pct(usual):.0f} %"
            " humidity.",
            count,
            *span,
        ),
    )


def _rate_words(rate: float, sd: float) -> str:
    """Return what a bed loses or gains a day, in points of moisture.

    >>> _rate_words(0.2, 0.05), _rate_words(0.004, 0.05)
    ('loses 0.20 points of moisture a day (± 0.05)', 'loses nothing measurable a day (± 0.05 points)')
    """
    if abs(rate) < LEAST_SHOWN:
        return f"loses nothing measurable a day (± {sd:.2f} points)"
    way = "loses" if rate > 0.0 else "gains"
    return f"{way} {abs(rate):.2f} points of moisture a day (± {sd:.2f})"


def _more_words(more: float, sd: float) -> str:
    """Return what a bed loses a day more in drier air."""
    if abs(more) < LEAST_SHOWN:
        return f"loses nothing measurable more (± {sd:.2f} points a day)"
    way = "more" if more > 0.0 else "less"
    return f"loses {abs(more):.2f} points a day {way} (± {sd:.2f})"


def _humidity_pct(deficit: float) -> float:
    """Return the humidity of air of 18 °C that has this vapour pressure deficit, kPa.

    >>> print(round(_humidity_pct(0.8)))
    61
    """
    return min(100.0, max(0.0, 100.0 - 10.0 * deficit / TENTH_KPA))
