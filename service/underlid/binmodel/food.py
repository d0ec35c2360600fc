"""What is left of the feeds, and when the herd will have eaten it.

A herd eats so many grams a day at its best temperature (the appetite lesson), less when it is colder
or hotter; feeds add up, and what the keeper saw ("used up", or not) sets the sum right. The dry
matter and the water of feeds are in `bed.py`; whether a herd is hungry is judged in `rules/hungry.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.binmodel.hot import BUCKETS_PER_HOUR
from underlid.binmodel.learning import prior_lessons
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry, Feed, Sighting
from underlid.science.heat import worm_activity
from underlid.science.numeric import Floats
from underlid.timeline import DAY_MS, HOUR_MS

FOOD_DAYS: Final = 14
"""Feeds are looked for so far back: as far as the judge's window and journal reach."""

BLOCK_H: Final = 6
SURE_Z: Final = 0.84
"""Normal quantile of 80 %: a feed counts as surely used up by the herd's slow end (our judgement)."""

SLOWEST_SHARE: Final = 0.3
"""The slow end is at least so much of the middle: no herd lives on less (our judgement)."""

SEEN_LEFT_SHARE: Final = 0.15
"""A keeper who still sees food sees at least so much of the last feed (our judgement)."""

LEAST_ACTIVITY: Final = 0.05
"""Below this a herd hardly eats; nothing is used up by it (our judgement)."""


@dataclass(frozen=True, slots=True)
class Food:
    """The food of one bin; times in ms, None where the herd does not eat."""

    fed_at_ms: int
    fed_g: float
    left_g: float
    left_most_g: float
    """By the herd's slow end."""
    eaten_g_d: float
    """At the bed's temperature now."""
    slow_g_d: float
    activity: float
    used_up_ms: int | None
    surely_used_up_ms: int | None
    seen_used_up_ms: int | None
    """When the keeper wrote that the last feed has gone."""
    usual_days: float | None
    """Days between this keeper's feeds, None after a single one."""


def food(window: BinWindow) -> Food | None:
    """Return what is left of the feeds; None without a written feed, or without a bed temperature."""
    since_ms = window.now_ms - FOOD_DAYS * DAY_MS
    entries = [one for one in window.entries if one.at_ms >= since_ms]
    feeds = [one for one in entries if isinstance(one.what, Feed)]
    eating = _eating(window)
    if not feeds or eating is None:
        return None
    last = feeds[-1]
    assert isinstance(last.what, Feed)
    lessons = window.lessons or prior_lessons(window.bin, window.now_ms)
    rate = lessons.eaten_g_d.value
    slow = max(rate - SURE_Z * lessons.eaten_g_d.sd, SLOWEST_SHARE * rate)
    at_ms, left_g, seen_ms = _left_after_last(entries, rate, eating)
    _, left_most_g, _ = _left_after_last(entries, slow, eating)
    gone_g = eating.between(at_ms, window.now_ms)
    return Food(
        fed_at_ms=last.at_ms,
        fed_g=last.what.mass_g,
        left_g=max(0.0, left_g - rate * gone_g),
        left_most_g=max(0.0, left_most_g - slow * gone_g),
        eaten_g_d=rate * eating.activity,
        slow_g_d=slow * eating.activity,
        activity=eating.activity,
        used_up_ms=eating.when(at_ms, left_g / rate),
        surely_used_up_ms=eating.when(at_ms, left_most_g / slow),
        seen_used_up_ms=seen_ms,
        usual_days=_usual_days(feeds),
    )


@dataclass(frozen=True, slots=True)
class _Eating:
    """Full days of eating at the best temperature, counted up over the window."""

    ends_ms: Floats
    total_d: Floats
    activity: float

    def at(self, at_ms: float) -> float:
        return float(np.interp(at_ms, self.ends_ms, self.total_d))

    def between(self, from_ms: float, until_ms: float) -> float:
        return max(0.0, self.at(until_ms) - self.at(from_ms))

    def when(self, from_ms: int, full_days: float) -> int | None:
        """Return when, after *from_ms*, so many full days of eating have gone by."""
        goal = self.at(from_ms) + full_days
        beyond = goal - float(self.total_d[-1])
        if beyond <= 0.0:
            return round(float(np.interp(goal, self.total_d, self.ends_ms)))
        if self.activity < LEAST_ACTIVITY:
            return None
        return round(float(self.ends_ms[-1]) + beyond / self.activity * DAY_MS)


def _eating(window: BinWindow) -> _Eating | None:
    """Return how the herd could eat, by the bed's temperature in blocks of six hours."""
    blocks = FOOD_DAYS * 24 // BLOCK_H
    temps = window.means("bed_temp_c", blocks * BLOCK_H * BUCKETS_PER_HOUR)
    known = ~np.isnan(temps)
    if not known.any():
        return None
    shape = (blocks, BLOCK_H * BUCKETS_PER_HOUR)
    counts = known.reshape(shape).sum(axis=1)
    sums = np.where(known, temps, 0.0).reshape(shape).sum(axis=1)
    usual = float(temps[known].mean())
    means = np.where(counts > 0, sums / np.maximum(counts, 1), usual)
    cold_c = window.limits.cold_alarm_c
    active: Floats = np.array([worm_activity(temp_c, min_c=cold_c) for temp_c in means.tolist()])
    ends: Floats = window.now_ms - np.arange(blocks, -1, -1) * BLOCK_H * float(HOUR_MS)
    # A hair of growth in each block keeps the sum invertible while nothing is eaten.
    total: Floats = np.concatenate([[0.0], np.cumsum(active * BLOCK_H / 24.0 + 1e-12)])
    return _Eating(ends, total, float(active[-4:].mean()))


def _left_after_last(
    entries: list[Entry], rate_g_d: float, eating: _Eating
) -> tuple[int, float, int | None]:
    """Return the time of the last thing that set the sum, the grams left then, and "used up" seen."""
    at_ms, left_g, fed_g = entries[0].at_ms, 0.0, 0.0
    seen_ms: int | None = None
    for entry in entries:
        seen = entry.what.used_up if isinstance(entry.what, Sighting) else None
        if not isinstance(entry.what, Feed) and seen is None:
            continue
        left_g = max(0.0, left_g - rate_g_d * eating.between(at_ms, entry.at_ms))
        at_ms = entry.at_ms
        if isinstance(entry.what, Feed):
            fed_g, seen_ms = entry.what.mass_g, None
            left_g += fed_g
        elif seen:
            left_g, seen_ms = 0.0, entry.at_ms if seen_ms is None else seen_ms
        else:
            left_g, seen_ms = max(left_g, SEEN_LEFT_SHARE * fed_g), None
    return at_ms, left_g, seen_ms


def _usual_days(feeds: list[Entry]) -> float | None:
    if len(feeds) < 2:
        return None
    gaps = np.diff([one.at_ms for one in feeds]) / DAY_MS
    return float(np.median(gaps))
