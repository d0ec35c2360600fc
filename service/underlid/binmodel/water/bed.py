"""What the bed weighs now: its dry matter by the keeper's figure and the journal, its water by the probe.

The keeper's figure is what the bed weighed at the moisture it usually had; since then feeds, bedding and
harvests count. Of a feed a part is still whole: its water is locked in, and most of its dry matter will
decay. How much bedding or water follows from it is in `advice/`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, isnan, nan
from typing import Final

from underlid.binmodel.day_means import first_day_h, oldest_day_mean
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.binmodel.window import BinWindow, mean_of
from underlid.journal.entries import (
    BeddingAdded,
    Entry,
    Feed,
    Harvest,
    LiquidAdded,
    Portion,
    What,
)
from underlid.journal.feedstocks import moisture_pct_of
from underlid.science.heat import DECAY_PER_D, HYDROLYSIS_PER_D
from underlid.timeline import DAY_MS

SINCE_DAYS: Final = 14
"""Feeds, bedding and harvests count so far back: as far as the journal of the judge reaches."""

NOW_H: Final = 6
"""The moisture of now is a mean of so many hours; a whole day lags behind a bed that was watered."""

NOW_LEAST: Final = 3
"""Known buckets of those hours: a probe may send every half hour, and lose some."""

FIRST_DAYS: Final = 2
"""In so many days from the first mean on there is a day that is known, unless it has gaps."""

USUAL_SD_PCT: Final = 8.0
"""How far a bed was from its target when the keeper weighed or guessed it (our judgement)."""

JUICE_PER_D: Final = HYDROLYSIS_PER_D
"""Food gives its water as it falls apart (our judgement)."""

SOFT_SHARE: Final = 0.7
"""Share of a food's dry matter that decays (our judgement)."""


@dataclass(frozen=True, slots=True)
class Bed:
    """The bed of one bin: dry matter and water, kg, and the water still locked in food."""

    dry_kg: float
    moisture_pct: float
    locked_kg: float

    @property
    def water_kg(self) -> float:
        """Return the water of the bed itself."""
        return self.dry_kg * self.moisture_pct / (100.0 - self.moisture_pct)

    @property
    def mass_kg(self) -> float:
        """Return what the bed weighs."""
        return self.dry_kg + self.water_kg


WETTEST_PCT: Final = 95.0


def bed_of(window: BinWindow, moisture_pct: float | None = None) -> Bed:
    """Return the bed as it is now, at *moisture_pct* or, without it, at that of the last hours."""
    now_pct = now_of(window) if moisture_pct is None else moisture_pct
    if now_pct is None:
        now_pct = window.bin.target_moisture_pct
    now_pct = min(max(now_pct, 5.0), WETTEST_PCT)
    told_pct, since_ms = _told_at(window)
    dry_kg = window.bin.bed_kg * (1.0 - told_pct / 100.0)
    locked_kg = 0.0
    for entry in window.entries:
        if entry.at_ms < since_ms:
            continue
        days = max(0.0, (window.now_ms - entry.at_ms) / DAY_MS)
        added_kg, wet_kg = came(entry, days, told_pct)
        dry_kg += added_kg
        locked_kg += wet_kg
    return Bed(max(dry_kg, 0.1 * window.bin.bed_kg), now_pct, max(0.0, locked_kg))


def now_of(window: BinWindow, ago: int = 0) -> float | None:
    """Return the mean moisture of the last hours, as the probe says it, for 5-minute buckets or slower.

    *ago*: not of now, but of so many buckets ago.
    """
    hours = window.means("moisture_pct", NOW_H * BUCKETS_PER_HOUR, window.end - ago)
    return mean_of(hours, NOW_LEAST)


def _told_at(window: BinWindow) -> tuple[float, int]:
    """Return the moisture at which the keeper's figure held, and the time from which the journal counts.

    By the oldest day that is known, drawn to the target as far as the moisture is not sure.
    """
    since_ms = window.now_ms - SINCE_DAYS * DAY_MS
    target_pct = window.bin.target_moisture_pct
    oldest = _oldest_day_pct(window)
    if isnan(oldest):
        return target_pct, since_ms
    trust = USUAL_SD_PCT**2 / (USUAL_SD_PCT**2 + window.moisture_sd_pct() ** 2)
    return target_pct + trust * (oldest - target_pct), since_ms


def _oldest_day_pct(window: BinWindow) -> float:
    """Return the moisture of the oldest day that is known; NaN without any.

    It mostly lies where the first means do; only where those have gaps are all days looked at.
    """
    every = SINCE_DAYS * 24 * BUCKETS_PER_HOUR
    empty = window.empty_before("moisture_pct", every)
    if empty == every:
        return nan
    begins = first_day_h(empty // BUCKETS_PER_HOUR) * BUCKETS_PER_HOUR
    few = min(FIRST_DAYS * 24 * BUCKETS_PER_HOUR, every - begins)
    oldest = oldest_day_mean(window.means("moisture_pct", few, window.end - every + begins + few))
    if not isnan(oldest):
        return oldest
    return oldest_day_mean(window.means("moisture_pct", every))


def came(entry: Entry, days: float, bed_pct: float) -> tuple[float, float]:
    """Return the dry matter, kg, that an entry brought and has left, and its water still locked, kg."""
    what = entry.what
    if isinstance(what, Feed):
        dry = sum(_dry_g(one) for one in what.portions) / 1000.0
        water = (what.mass_g / 1000.0) - dry
        left = 1.0 - SOFT_SHARE * (1.0 - exp(-DECAY_PER_D * days))
        cover = sum(_dry_g(one) for one in what.bedding) / 1000.0
        return dry * left + cover, water * exp(-JUICE_PER_D * days)
    if isinstance(what, BeddingAdded):
        return sum(_dry_g(one) for one in what.portions) / 1000.0, 0.0
    if isinstance(what, Harvest):
        return -what.mass_g / 1000.0 * (1.0 - bed_pct / 100.0), 0.0
    return 0.0, 0.0


def water_of(what: What, bed_pct: float) -> float:
    """Return the water, kg, that an entry brought in all, still locked or not; negative for a harvest."""
    if isinstance(what, LiquidAdded):
        return what.mass_g / 1000.0
    if isinstance(what, Harvest):
        return -what.mass_g / 1000.0 * bed_pct / 100.0
    if isinstance(what, Feed):
        portions = (*what.portions, *what.bedding)
        drained_g = what.drained_g
    elif isinstance(what, BeddingAdded):
        portions, drained_g = what.portions, 0.0
    else:
        return 0.0
    return (sum(one.mass_g - _dry_g(one) for one in portions) - drained_g) / 1000.0


def _dry_g(portion: Portion) -> float:
    return portion.mass_g * (1.0 - moisture_pct_of(portion.ingredient) / 100.0)
