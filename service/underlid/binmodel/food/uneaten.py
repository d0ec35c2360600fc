"""What is left of the feeds, and when the herd will have eaten it.

A herd eats so many grams a day at its best temperature (the appetite lesson), less when it is colder
or hotter; what it has not eaten yet rots meanwhile. Feeds add up, and what the keeper saw ("used up", or
not) sets the sum right. Whether the herd or rotting sets the pace of a bin shows at those looks; how likely
a feed is used up follows from both (`used_up.py`). The dry matter and the water of feeds are in
`water/bed.py`; whether a herd is hungry is judged in `rules/hungry.py`.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.binmodel.food.rotting import ROTS_PER_D, left_after
from underlid.binmodel.food.used_up import Pace, herd_chance, herd_days, odds_of_look
from underlid.binmodel.hour_means import hour_means
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.binmodel.taught.learning import prior_lessons
from underlid.binmodel.water.bed import WETTEST_PCT
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry, Feed, Sighting
from underlid.science.heat import decay_rate_factor, worm_activity
from underlid.science.moisture import SOUR_BELOW, air_filled_porosity
from underlid.science.numeric import Floats
from underlid.timeline import DAY_MS, HOUR_MS

FOOD_DAYS: Final = 14
"""Feeds are looked for so far back: as far as the judge's window and journal reach."""

BLOCK_H: Final = 6
DAY_BLOCKS: Final = 24 // BLOCK_H
SURE_Z: Final = 0.84
"""Normal quantile of 80 %: by this end of its appetite a herd has surely finished (our judgement)."""

SLOWEST_SHARE: Final = 0.3
"""The slow end is at least so much of the middle: no herd lives on less (our judgement)."""

SEEN_LEFT_SHARE: Final = 0.15
"""A keeper who still sees food sees at least so much of the last feed (our judgement)."""

UNKNOWN_C: Final = 18.0
"""What stands in for the hours of the first day that are not measured yet, so that a cold morning or a
warm noon does not speak for all days (our judgement)."""

ROTS_LEAST: Final = 0.15
"""So much slower food rots where no air is left: what it becomes then is still food (our judgement)."""

SURE_MOISTURE_SD_PCT: Final = 5.0
"""Of a bed whose moisture is a guess nothing is said of its air."""

LEAST_ACTIVITY: Final = 0.05
"""Below this a herd hardly eats; nothing is used up by it (our judgement)."""

BAND: Final = (0.1, 0.9)
"""The 80 % band of the date."""


@dataclass(frozen=True, slots=True)
class Food:
    """The food of one bin; times in ms, None where the herd does not eat."""

    fed_at_ms: int
    fed_g: float
    left_g: float
    left_most_g: float
    """By the herd's slow end."""
    eaten_g_d: float
    """At the last day's mean temperature of the bed: hours of sun and night do not move it."""
    slow_g_d: float
    activity: float
    used_up_chance: float
    """How likely the last feed has been eaten and rotted away."""
    used_up_ms: int | None
    """When that is as likely as not; it may lie behind or ahead."""
    used_up_band_ms: tuple[int | None, int | None]
    """The band of 80 % around it."""
    seen_used_up_ms: int | None
    """When the keeper wrote that the last feed has gone."""
    usual_days: float | None
    """Days between this keeper's feeds, None after a single one."""


def food(window: BinWindow) -> Food | None:
    """Return what is left of the feeds; None without a written feed, or without a bed temperature."""
    since_ms = window.now_ms - FOOD_DAYS * DAY_MS
    entries = [one for one in window.entries if one.at_ms >= since_ms]
    feeds = [one for one in entries if isinstance(one.what, Feed)]
    courses = _courses(window) if feeds else None
    if courses is None:
        return None
    eating, rotting = courses
    last = feeds[-1]
    assert isinstance(last.what, Feed)
    lessons = window.lessons or prior_lessons(window.bin, window.now_ms)
    rate = lessons.eaten_g_d.value
    slow = max(rate - SURE_Z * lessons.eaten_g_d.sd, SLOWEST_SHARE * rate)
    going = _Going(eating, rotting)
    ate, ate_least = _walk(entries, rate, going), _walk(entries, slow, going)
    herd = herd_chance(ate.odds, lessons.herd_pace.value)
    pace = Pace(herd, lessons.herd_times.value * herd_days(ate.heap_g, rate))
    now_ms = window.now_ms
    seen_left_d = rotting.between(last.at_ms, _seen_left_ms(entries, last.at_ms))

    def used_up_ms(chance: float) -> int | None:
        gone_ms = rotting.when(last.at_ms, pace.days(chance, seen_left_d))
        return None if hardly and (gone_ms is None or gone_ms > now_ms) else gone_ms

    hardly = eating.rate < LEAST_ACTIVITY
    return Food(
        fed_at_ms=last.at_ms,
        fed_g=last.what.mass_g,
        left_g=going.left_g(ate.left_g, rate, ate.at_ms, now_ms),
        left_most_g=going.left_g(ate_least.left_g, slow, ate_least.at_ms, now_ms),
        eaten_g_d=rate * eating.rate,
        slow_g_d=slow * eating.rate,
        activity=eating.rate,
        used_up_chance=pace.chance(rotting.between(last.at_ms, now_ms), seen_left_d),
        used_up_ms=used_up_ms(0.5),
        used_up_band_ms=(used_up_ms(BAND[0]), used_up_ms(BAND[1])),
        seen_used_up_ms=ate.seen_used_up_ms,
        usual_days=_usual_days(feeds),
    )


@dataclass(frozen=True, slots=True)
class _Course:
    """Days at the reference temperature, counted up over the window, and the rate at its end."""

    ends_ms: list[float]
    total_d: list[float]
    rate: float

    def at(self, at_ms: float) -> float:
        return _between(at_ms, self.ends_ms, self.total_d)

    def between(self, from_ms: float, until_ms: float) -> float:
        return max(0.0, self.at(until_ms) - self.at(from_ms))

    def when(self, from_ms: int, days: float) -> int | None:
        """Return when, after *from_ms*, so many days at the reference temperature have gone by."""
        goal = self.at(from_ms) + days
        beyond = goal - self.total_d[-1]
        if beyond <= 0.0:
            return round(_between(goal, self.total_d, self.ends_ms))
        if self.rate < LEAST_ACTIVITY:
            return None
        return round(max(self.ends_ms[-1], from_ms) + beyond / self.rate * DAY_MS)


@dataclass(frozen=True, slots=True)
class _Going:
    """How food goes away: eaten and rotted."""

    eating: _Course
    rotting: _Course

    def left_g(self, mass_g: float, rate_g_d: float, from_ms: int, until_ms: int) -> float:
        """Return what of *mass_g* at *from_ms* is left at *until_ms*."""
        eaten_g = rate_g_d * self.eating.between(from_ms, until_ms)
        rotted = ROTS_PER_D * self.rotting.between(from_ms, until_ms)
        return float(left_after(mass_g, eaten_g, rotted))


def _courses(window: BinWindow) -> tuple[_Course, _Course] | None:
    """Return how the herd could eat, and how food rotted, by the bed's temperature every 6 hours."""
    blocks = FOOD_DAYS * 24 // BLOCK_H
    buckets = window.means("bed_temp_c", blocks * BLOCK_H * BUCKETS_PER_HOUR)
    temps = hour_means(buckets)
    known = ~np.isnan(temps)
    if not known.any():
        return None
    missing = max(0, 24 - int(known.sum()))
    usual = (float(temps[known].sum()) + missing * UNKNOWN_C) / (int(known.sum()) + missing)
    filled = np.where(known, temps, usual).reshape(blocks, BLOCK_H)
    day_c = float(filled[-DAY_BLOCKS:].mean())
    # The rate now, that of the day's mean, stands last.
    means: Floats = np.append(filled.mean(axis=1), day_c)
    cold_c = window.limits.cold_alarm_c
    active: Floats = np.array([worm_activity(temp_c, min_c=cold_c) for temp_c in means.tolist()])
    ago_h = np.arange(blocks, -1, -1, dtype=np.float64) * BLOCK_H
    ends: Floats = window.now_ms - ago_h * HOUR_MS
    return _course(ends, active), _course(ends, decay_rate_factor(means) * _airy(window, blocks))


def _airy(window: BinWindow, blocks: int) -> Floats:
    """Return, for each block and for now, how fast food rots by the air in the bed: 1 with enough."""
    airy: Floats = np.ones(blocks + 1)
    if window.moisture_sd_pct() > SURE_MOISTURE_SD_PCT:
        return airy
    buckets = window.means("moisture_pct", blocks * BLOCK_H * BUCKETS_PER_HOUR)
    moist = np.minimum(hour_means(buckets, BLOCK_H), WETTEST_PCT)
    air = air_filled_porosity(moist, window.bin.dry_density_kg_l) / SOUR_BELOW
    airy[:-1] = np.where(np.isnan(air), 1.0, np.clip(air, ROTS_LEAST, 1.0))
    airy[-1] = airy[-1 - DAY_BLOCKS : -1].mean()
    return airy


def _course(ends_ms: Floats, rates: Floats) -> _Course:
    """Return the course of so many blocks; the last of *rates* is how it goes on."""
    # A hair of growth in each block keeps the sum invertible while nothing goes on.
    total: Floats = np.concatenate([[0.0], np.cumsum(rates[:-1] * BLOCK_H / 24.0 + 1e-12)])
    return _Course(ends_ms.tolist(), total.tolist(), float(rates[-1]))


def _between(x: float, xs: list[float], ys: list[float]) -> float:
    """Return y at *x* on the lines between the points, beyond them that of the end: `np.interp` of one."""
    if x <= xs[0] or x >= xs[-1]:
        return ys[0] if x <= xs[0] else ys[-1]
    at = bisect_right(xs, x)
    slope = (ys[at] - ys[at - 1]) / (xs[at] - xs[at - 1])
    return slope * (x - xs[at - 1]) + ys[at - 1]


@dataclass(slots=True)
class _Walk:
    """What feeds and looks say, up to the last of them."""

    at_ms: int
    left_g: float = 0.0
    fed_at_ms: int = 0
    fed_g: float = 0.0
    heap_g: float = 0.0
    """The last feed with what was left of those before it."""
    odds: float = 0.0
    seen_used_up_ms: int | None = None


def _walk(entries: list[Entry], rate_g_d: float, going: _Going) -> _Walk:
    """Walk through the feeds, and the looks that set their sum right, by one appetite."""
    walk = _Walk(entries[0].at_ms)
    for entry in entries:
        seen = entry.what.used_up if isinstance(entry.what, Sighting) else None
        if not isinstance(entry.what, Feed) and seen is None:
            continue
        walk.left_g = going.left_g(walk.left_g, rate_g_d, walk.at_ms, entry.at_ms)
        walk.at_ms = entry.at_ms
        if isinstance(entry.what, Feed):
            walk.fed_at_ms, walk.fed_g, walk.seen_used_up_ms = entry.at_ms, entry.what.mass_g, None
            walk.heap_g = walk.left_g = walk.left_g + walk.fed_g
        elif seen is not None:
            _look(walk, rate_g_d, going, used_up=seen)
    return walk


def _look(walk: _Walk, rate_g_d: float, going: _Going, *, used_up: bool) -> None:
    """Take in a look at the last feed, once for as long as it says the same."""
    if walk.fed_at_ms and rate_g_d > 0.0 and (walk.seen_used_up_ms is None or not used_up):
        days = going.rotting.between(walk.fed_at_ms, walk.at_ms)
        walk.odds += odds_of_look(days, herd_days(walk.heap_g, rate_g_d), used_up=used_up)
    if used_up:
        walk.left_g = 0.0
        walk.seen_used_up_ms = walk.seen_used_up_ms or walk.at_ms
    else:
        walk.left_g, walk.seen_used_up_ms = max(walk.left_g, SEEN_LEFT_SHARE * walk.fed_g), None


def _seen_left_ms(entries: list[Entry], fed_ms: int) -> int:
    """Return when food was last seen since that feed; the feed's own time where nobody looked."""
    seen = [
        one.at_ms for one in entries if isinstance(one.what, Sighting) and one.what.used_up is False
    ]
    return max([fed_ms, *seen])


def _usual_days(feeds: list[Entry]) -> float | None:
    if len(feeds) < 2:
        return None
    gaps = np.diff([one.at_ms for one in feeds]) / DAY_MS
    return float(np.median(gaps))
