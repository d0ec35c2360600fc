"""How fast feeds disappear: from what the keeper saw, and from how fast their heat dies away.

Both are read as grams a day at the herd's best temperature, as in `binmodel.food`: a feed of m grams
whose heat falls by κ a day is gone, but for a tenth, after 2.3/κ days.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Final

import numpy as np

from underlid.binmodel.food.rotting import ROTS_PER_D, left_after
from underlid.binmodel.taught.lessons import Lesson
from underlid.binmodel.taught.past import HOURS, Past, with_short_gaps_closed
from underlid.binmodel.taught.posterior import counted, mean_and_sd, normal, worth
from underlid.journal.entries import Feed, Sighting
from underlid.science.heat import decay_rate_factor, worm_activity
from underlid.science.numeric import Floats

EATEN_G_KG_D: Final = 250.0
"""Food a kilogram of worms and day at the best temperature (common practice)."""

PRIOR_SD: Final = 0.42
"""Of its logarithm: published figures run from 140 to 500."""

TIMES: Final = np.exp(np.linspace(-1.7, 1.7, 69))
"""Appetites that are tried, as multiples of the usual one."""

GONE_SHARE: Final = 0.1
GONE_BLUR: Final = 0.07
"""Below so much of the last feed a keeper finds nothing of it (our judgement)."""

LAPSE: Final = 0.06
LEFT_SHARE: Final = 0.15
"""Share of wrong words; and what must be left, of the last feed, where some is seen (our judgement)."""

DECAY_PER_D: Final = np.linspace(0.12, 1.2, 28)
DECAY_FROM_H: Final = 48
DECAY_LEAST_H: Final = 36
DECAY_MOST_H: Final = 168
HEAT_LEAST_K: Final = 0.8
HEAT_NOISE_K: Final = 0.12
HEAT_BASE_SD_K: Final = 0.4
DECAY_SD: Final = 0.45
"""The heat's fall is looked at from two days after a feed to a week; how it goes with what a herd eats
is known to a factor of one and a half (our judgement)."""

CONVERTED: Final = 2.3
"""ln 10: a tenth is left."""


def appetite(past: Past, name: str, heat_k: Floats) -> Lesson:
    """Return what the herd eats, g a day at its best temperature.

    *heat_k* is the hourly self-heat of the past.
    """
    usual = EATEN_G_KG_D * past.window.bin.herd_kg
    if usual <= 0.0:
        return Lesson(0.0, 0.0, f"{name} has no herd.")
    active_d, rotted = _courses(past)
    weight = normal(np.log(TIMES), 0.0, PRIOR_SD)
    seen, seen_weight, first, last = _seen(past, usual * TIMES, active_d, rotted)
    weight += seen_weight
    decays = list(_decays(past, heat_k, active_d))
    for eaten, sd in decays:
        weight += normal(np.log(usual * TIMES), float(np.log(eaten)), sd)
    log_mean, log_sd = mean_and_sd(np.log(TIMES), weight)
    value, sd = usual * float(np.exp(log_mean)), usual * float(np.exp(log_mean)) * log_sd
    count = seen + len(decays)
    if not count:
        text = (
            f"The herd of {name} is taken to eat {value:.0f} g a day at its best temperature"
            f" (± {sd:.0f}), by its mass: no feed has been watched to its end."
        )
        return Lesson(round(value, 1), round(sd, 1), text)
    sources = [counted(seen, "look")] * bool(seen)
    sources += [f"the heat of {counted(len(decays), 'feed')}"] * bool(decays)
    text = (
        f"The herd of {name} eats about {value:.0f} g a day at its best temperature (± {sd:.0f}),"
        f" learnt from {' and '.join(sources)}."
    )
    from_ms, until_ms = (past.start_ms, past.until_ms) if decays else (first, last)
    return Lesson(round(value, 1), round(sd, 1), text, count, from_ms, until_ms)


def self_heat_by_hour(past: Past, time_constant_h: float) -> Floats:
    """Return the bed's self-heat hour by hour, K, as means of six hours; NaN where unknown."""
    return hourly_self_heat_k(
        past.hourly("bed_temp_c"), past.hourly("shed_temp_c"), time_constant_h
    )


def hourly_self_heat_k(bed_temp_c: Floats, air_temp_c: Floats, time_constant_h: float) -> Floats:
    """Return the self-heat at each hour, K, from hourly °C of bed and shed air; NaN where unknown."""
    bed, air = with_short_gaps_closed(bed_temp_c), with_short_gaps_closed(air_temp_c)
    rate, steady = np.full(len(bed), np.nan), np.full(len(bed), np.nan)
    rate[3:-3] = (bed[6:] - bed[:-6]) / 6.0
    steady[3:-3] = np.lib.stride_tricks.sliding_window_view(bed - air, 7).mean(axis=1)
    result: Floats = steady + time_constant_h * rate
    return result


def _courses(past: Past) -> tuple[Floats, Floats]:
    """Return days of eating at the best temperature, and what rotted, from the start to each hour."""
    temp = past.hourly("bed_temp_c")
    known = temp[~np.isnan(temp)]
    cold_c = past.window.limits.cold_alarm_c
    by_day = np.full(HOURS, float(known.mean()) if len(known) else 20.0)
    by_day = np.where(np.isnan(temp), by_day, temp).reshape(-1, 6).mean(axis=1)
    active = np.array([worm_activity(one, min_c=cold_c) for one in by_day.tolist()])
    rots = ROTS_PER_D * decay_rate_factor(by_day)
    return _summed(active), _summed(rots)


def _summed(by_six_hours: Floats) -> Floats:
    return np.concatenate([[0.0], np.cumsum(np.repeat(by_six_hours, 6) / 24.0)])


def _seen(
    past: Past, eaten_g_d: Floats, active_d: Floats, rotted: Floats
) -> tuple[int, Floats, int, int]:
    """Return how many looks tell of the last feed, how each appetite fits them, and their span."""
    weight, left = np.zeros(len(eaten_g_d)), np.zeros(len(eaten_g_d))
    fed_g, at, count = 0.0, 0.0, 0
    first = last = past.until_ms
    for entry in past.entries:
        what, hour = entry.what, past.hour_of(entry.at_ms)
        used_up = what.used_up if isinstance(what, Sighting) else None
        if not isinstance(what, Feed) and (used_up is None or fed_g <= 0.0):
            continue
        ate = np.interp([at, hour], np.arange(HOURS + 1), active_d)
        rots = np.interp([at, hour], np.arange(HOURS + 1), rotted)
        left = left_after(left, eaten_g_d * (ate[1] - ate[0]), float(rots[1] - rots[0]))
        at = hour
        if isinstance(what, Feed):
            fed_g = max(0.0, what.mass_g)
            left = left + fed_g
            continue
        gone = 1.0 / (1.0 + np.exp((left / fed_g - GONE_SHARE) / GONE_BLUR))
        chance = gone if used_up else 1.0 - gone
        weight += np.log(LAPSE + (1.0 - 2.0 * LAPSE) * chance)
        left = np.zeros_like(left) if used_up else np.maximum(left, LEFT_SHARE * fed_g)
        count, last = count + 1, entry.at_ms
        first = min(first, last)
    return count, weight, first, last


def _decays(past: Past, heat_k: Floats, active_d: Floats) -> Iterator[tuple[float, float]]:
    """Yield g a day and the sd of its logarithm, from each feed whose heat was seen to die away."""
    feeds = [
        (past.hour_of(entry.at_ms), entry.what.mass_g)
        for entry in past.entries
        if isinstance(entry.what, Feed)
    ]
    for (hour, mass_g), (end, _) in pairwise([*feeds, (float(HOURS), 0.0)]):
        start, stop = int(hour) + DECAY_FROM_H, int(min(end, hour + DECAY_MOST_H))
        if stop - start < DECAY_LEAST_H or mass_g <= 0.0:
            continue
        found = _decay_per_d(heat_k[start:stop])
        active = float(active_d[stop] - active_d[start]) * 24.0 / (stop - start)
        if found is not None and active > 0.05:
            yield mass_g * found[0] / CONVERTED / active, float(np.hypot(found[1], DECAY_SD))


def _decay_per_d(heat_k: Floats) -> tuple[float, float] | None:
    """Return the rate at which heat dies away, 1/d, and the sd of its logarithm; None if unclear."""
    known = np.flatnonzero(~np.isnan(heat_k))
    if len(known) < DECAY_LEAST_H:
        return None
    heat, days = heat_k[known], known / 24.0
    if float(heat[:12].mean()) < HEAT_LEAST_K:
        return None
    shape = np.exp(-DECAY_PER_D[:, None] * days)
    # A constant beside it: sensors differ, and an old bed is warm without feeds.
    trust = HEAT_NOISE_K**2 / HEAT_BASE_SD_K**2
    ones, own, both = len(days) + trust, np.sum(shape**2, axis=1), shape.sum(axis=1)
    with_heat, total = shape @ heat, heat.sum()
    size = (ones * with_heat - both * total) / (ones * own - both**2)
    base = (total - size * both) / ones
    left = heat - size[:, None] * shape - base[:, None]
    square = np.sum(left**2, axis=1) + trust * base**2
    best = int(np.argmin(square))
    noise = max(HEAT_NOISE_K**2, float(square[best]) / len(days))
    weight = -0.5 * square / noise * worth(left[best])
    weight[size < HEAT_LEAST_K / 2.0] = -np.inf
    if not np.isfinite(weight).any():
        return None
    log_mean, log_sd = mean_and_sd(np.log(DECAY_PER_D), weight)
    return float(np.exp(log_mean)), log_sd
