"""The bed's water over days: where it stands, how fast it falls, when it will be too dry.

The daily wiggle of cheap soil probes is an artefact of temperature; means of whole days remove it
before a trend is looked for. A watering ends a trend: what was before says nothing of what follows.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt
from typing import Final

import numpy as np

from underlid.binmodel.day_means import MEAN_H, STEP_H, day_means
from underlid.binmodel.lids.guesses import SHED_RH_PCT
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.binmodel.water.bed import bed_of, now_of
from underlid.binmodel.water.too_fast import falls_too_fast
from underlid.binmodel.water.water_balance import (
    TIGHT,
    WATERED_G,
    Level,
    by_journal,
    weighed,
    wettings,
)
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import LiquidAdded
from underlid.readings.moisture_line import PLACE_SD_PCT
from underlid.science.numeric import Floats
from underlid.science.psychrometrics import vapour_pressure_deficit_pa
from underlid.science.trend import BAND_Z, Slope, theil_sen
from underlid.timeline import HOUR_MS

TREND_DAYS: Final = 7

LEAST_DAYS: Final = 2.0
"""No slope from daily means that span less, so from less than three days of readings."""

OVERLAP: Final = 2.0
"""Daily means every 6 h share data: four of them are worth one, so the band is widened by √4."""

SETTLED_H: Final = 48
"""After a watering the level is known again when a whole day's mean lies behind it, and the water has
spread (our judgement)."""

TREND_SD_PCT_D: Final = 0.03
TREND_SD_SHARE: Final = 0.18
"""What the coming days differ by from those before, and the error of the probe's line: beside the
scatter of the days (our judgement)."""

WEIGHING_SD_PCT: Final = 1.0
"""What all samples are off by alike, however many: one hand takes them and one scale weighs them (our
judgement)."""

DRY_LEAST_PCT: Final = 5.0

LOSES_PCT_D: Final = (0.15, 0.2)
"""Of a bed that has not taught it, % points a day and its sd (our judgement)."""

JUMP_PCT: Final = 1.5
"""A day's mean that is so many % points above the day before was watered, written down or not (our
judgement: a bed dries by 0.1..0.5 a day)."""


@dataclass(frozen=True, slots=True)
class Drying:
    """Moisture % wet basis now (24 h mean); the trend in % points a day with its 80 % band."""

    level_pct: float
    slope_pct_d: float | None
    slope_low_pct_d: float | None
    slope_high_pct_d: float | None
    days: float
    sd_pct: float = 8.0
    """How sure the level is."""
    now_pct: float | None = None
    """The mean of the last hours; a whole day lags behind a bed that was watered or fed."""
    too_fast: bool = False
    """It fell faster than any bed dries: then it is the probe."""
    usual_pct_d: tuple[float, float] = LOSES_PCT_D
    """What a bed like this loses a day, and its sd: where no trend is known."""

    @property
    def present_pct(self) -> float:
        """Return the moisture of the last hours, else of the last day."""
        return self.level_pct if self.now_pct is None else self.now_pct

    @property
    def probe_sd_pct(self) -> float:
        """Return how sure the level at the probe is: without what the rest of the bed differs by.

        >>> round(Drying(70.0, None, None, None, 1.0, sd_pct=2.4).probe_sd_pct, 2)
        1.33
        """
        return max(sqrt(max(0.0, self.sd_pct**2 - PLACE_SD_PCT**2)), WEIGHING_SD_PCT)

    def days_until(self, limit_pct: float) -> tuple[float, float, float] | None:
        """Return days until *limit_pct*: middle, and soonest and latest with 80 % between them.

        Level and trend are both uncertain; soonest may be 0, latest infinite. A bed that loses the same
        water every day loses ever more points of moisture.

        Source: Fieller's interval of a ratio; the water of a kilogram of dry matter falls in a line.
        """
        slope, high = self.slope_pct_d, self.slope_high_pct_d
        if slope is None or slope >= 0.0 or self.level_pct <= limit_pct:
            return None
        slope_sd = 0.0 if high is None else (high - slope) / BAND_Z
        gap = (self.level_pct - limit_pct) * dry_pct(self.level_pct) / dry_pct(limit_pct)
        moves = slope**2 - (BAND_Z * slope_sd) ** 2
        stays = gap**2 - (BAND_Z * self.probe_sd_pct) ** 2
        root = sqrt(max(0.0, (gap * slope) ** 2 - moves * stays))
        soonest = max(0.0, stays / (-gap * slope + root))
        latest = (-gap * slope + root) / moves if moves > 0.0 else inf
        return gap / -slope, soonest, latest


def dry_pct(moisture_pct: float) -> float:
    """Return the dry share of a bed, %; never nothing."""
    return max(100.0 - moisture_pct, DRY_LEAST_PCT)


def drying(window: BinWindow) -> Drying | None:
    """Return where the bed's water stands and goes; None when the last day is not known."""
    count = (TREND_DAYS * 24 + MEAN_H) * BUCKETS_PER_HOUR
    means = day_means(window.means("moisture_pct", count))
    if np.isnan(means[-1]):
        return None
    level, off_pct = _level(window, means)
    now_pct = now_of(window)
    now_pct = None if now_pct is None else now_pct + off_pct
    hours = np.arange(len(means)) * STEP_H
    since = _hours_since_change(window, means)
    too_fast = falls_too_fast(window, means, TREND_DAYS, since)
    before = means
    if since is not None:
        means = np.where(hours >= hours[-1] - since + MEAN_H, means, np.nan)
    known = ~np.isnan(means)
    span_days = float(np.ptp(hours[known])) / 24.0 if known.any() else 0.0
    trend = None
    if span_days >= LEAST_DAYS:
        trend = theil_sen(hours[known] / 24.0, means[known], BAND_Z * OVERLAP)
    settled = since is None or since >= SETTLED_H
    taught = loses_pct_d(window) if settled else None
    if trend is not None:
        steeper = _steeper(level.pct, means)
        trend = Slope(steeper * trend.slope, steeper * trend.low, steeper * trend.high, 0.0)
    if taught is not None:
        steeper = _steeper(level.pct, before)
        taught = steeper * taught[0], steeper * taught[1]
    slope, sd = _slope(trend, taught)
    low, high = (None, None) if slope is None else (slope - BAND_Z * sd, slope + BAND_Z * sd)
    return Drying(
        level.pct,
        slope,
        low,
        high,
        span_days,
        level.sd_pct,
        now_pct,
        too_fast=too_fast,
        usual_pct_d=_usual_pct_d(window),
    )


def _level(window: BinWindow, means: Floats) -> tuple[Level, float]:
    """Return the last day's level by probe and journal, and what that adds to what the probe says."""
    probe = Level(float(means[-1]), window.moisture_sd_pct())
    loses = loses_pct_d(window) or LOSES_PCT_D
    for poured_ms in wettings(window):
        ago = int((window.now_ms - poured_ms) // (STEP_H * HOUR_MS)) + 1
        if ago >= len(means) or np.isnan(means[-1 - ago]):
            continue
        now_pct = now_of(window)
        if now_pct is None:
            break
        before = Level(float(means[-1 - ago]), probe.sd_pct)
        journal = by_journal(window, bed_of(window, now_pct), before, poured_ms, loses)
        both = weighed(Level(now_pct, probe.sd_pct), journal, tight=window.bin.kind in TIGHT)
        off_pct = both.pct - now_pct
        return Level(probe.pct + off_pct, both.sd_pct), off_pct
    return probe, 0.0


def loses_pct_d(window: BinWindow) -> tuple[float, float] | None:
    """Return what the bed loses a day in the air of the last day, and its sd, % points, as learnt.

    None before the bin has taught it.
    """
    if window.lessons is None or not window.lessons.drying_pct_d.learnt:
        return None
    rate, more = window.lessons.drying_pct_d, window.lessons.drying_pct_d_kpa
    count = MEAN_H * BUCKETS_PER_HOUR
    air = deficit_kpa(window.means("shed_temp_c", count), window.means("shed_rh_pct", count))
    known = air[~np.isnan(air)]
    drier = float(known.mean()) - window.lessons.deficit_kpa.value if len(known) else 0.0
    return rate.value + more.value * drier, float(np.hypot(rate.sd, more.sd * drier))


def deficit_kpa(temp_c: Floats, rh_pct: Floats) -> Floats:
    """Return the vapour pressure deficit of shed air, kPa; the usual shed's where no humidity is known."""
    assumed = np.where(np.isnan(rh_pct), SHED_RH_PCT, np.minimum(rh_pct, 100.0))
    result: Floats = vapour_pressure_deficit_pa(temp_c, assumed) / 1000.0
    return result


def _usual_pct_d(window: BinWindow) -> tuple[float, float]:
    """Return what a bed like this loses a day, and its sd, taught or not."""
    if window.lessons is None:
        return LOSES_PCT_D
    return window.lessons.drying_pct_d.value, window.lessons.drying_pct_d.sd


def _steeper(level_pct: float, means: Floats) -> float:
    """Return how many points a bed at *level_pct* loses for one of the days before, with the same water.

    Source: M = W/(D + W), so dM = (1 - M)²/D dW.
    """
    return (dry_pct(level_pct) / dry_pct(float(np.nanmean(means)))) ** 2


def _slope(trend: Slope | None, learnt: tuple[float, float] | None) -> tuple[float | None, float]:
    """Return % points a day and sd: the trend and what the bin has taught, weighed by how sure."""
    if trend is None and learnt is None:
        return None, 0.0
    guesses = []
    if trend is not None:
        sd = (trend.high - trend.low) / (2.0 * BAND_Z)
        doubt = TREND_SD_PCT_D + TREND_SD_SHARE * abs(trend.slope)
        guesses.append((trend.slope, float(np.hypot(sd, doubt))))
    if learnt is not None:
        guesses.append((-learnt[0], float(np.hypot(learnt[1], TREND_SD_PCT_D))))
    weights = [1.0 / sd**2 for _, sd in guesses]
    middle = sum(w * slope for w, (slope, _) in zip(weights, guesses, strict=True)) / sum(weights)
    # Both come from the same probe: together they are not surer than the better one alone.
    return middle, min(sd for _, sd in guesses)


def _hours_since_change(window: BinWindow, means: Floats) -> float | None:
    """Return the hours since so much water came in that the trend before it is over.

    By the journal, or by a rise that no bed makes by itself. Feeds alone end no trend: a bed that is
    fed every week dries between and over its feeds.
    """
    hours = []
    for entry in window.entries:
        if isinstance(entry.what, LiquidAdded) and entry.what.mass_g >= WATERED_G:
            # What is judged may be of some minutes ago, before the last entry.
            hours.append(max(0.0, (window.now_ms - entry.at_ms) / HOUR_MS))
    steps = MEAN_H // STEP_H
    with np.errstate(invalid="ignore"):
        jumps = np.flatnonzero(means[steps:] - means[:-steps] > JUMP_PCT)
    if len(jumps):
        hours.append(float((len(means) - 1 - steps - jumps[-1]) * STEP_H + MEAN_H))
    return min(hours, default=None)
