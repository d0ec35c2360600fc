"""How fast feeds disappear, from what the keeper saw: grams a day at the herd's best temperature.

What a bed's own warmth tells of them is in `pace.py`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.food.rotting import ROTS_PER_D, left_after
from underlid.binmodel.taught.lessons import Lesson
from underlid.binmodel.taught.past import HOURS, Past, with_short_gaps_closed
from underlid.binmodel.taught.posterior import counted, mean_and_sd, normal
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


def appetite(past: Past, name: str) -> Lesson:
    """Return what the herd eats, g a day at its best temperature."""
    usual = EATEN_G_KG_D * past.window.bin.herd_kg
    if usual <= 0.0:
        return Lesson(0.0, 0.0, f"{name} has no herd.")
    active_d, rotted = _courses(past)
    weight = normal(np.log(TIMES), 0.0, PRIOR_SD)
    seen, seen_weight, first, last = _seen(past, usual * TIMES, active_d, rotted)
    weight += seen_weight
    log_mean, log_sd = mean_and_sd(np.log(TIMES), weight)
    value, sd = usual * float(np.exp(log_mean)), usual * float(np.exp(log_mean)) * log_sd
    if not seen:
        text = (
            f"The herd of {name} is taken to eat {value:.0f} g a day at its best temperature"
            f" (± {sd:.0f}), by its mass: no feed has been watched to its end."
        )
        return Lesson(round(value, 1), round(sd, 1), text)
    text = (
        f"The herd of {name} eats about {value:.0f} g a day at its best temperature (± {sd:.0f}),"
        f" learnt from {counted(seen, 'look')}."
    )
    return Lesson(round(value, 1), round(sd, 1), text, seen, first, last)


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
