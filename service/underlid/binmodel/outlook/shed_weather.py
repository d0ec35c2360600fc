"""The shed's air from the weather outside: how far the building damps it is learnt from the window.

air = level + gain · (outside, after the building's lag) + what is left, which fades. The lag is the one
of a few that fits best. The weather is left aside where it foresees the past much worse than the shed's
own pattern.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.binmodel.outlook.hours import FUTURE_H, PAST_H, after_lag, newest
from underlid.binmodel.outlook.shed_outlook import HOURS_AHEAD, STALE_H, Ahead, last_two
from underlid.binmodel.outlook.spread import ORIGINS, leads_of, spread_and_band
from underlid.binmodel.window import BinWindow
from underlid.science.numeric import Floats
from underlid.science.trend import BAND_Z
from underlid.timeline import HOUR_MS

LAGS_H: Final = (1.5, 4.0, 8.0, 16.0, 36.0)
"""Of buildings, from a shed of boards to one of stone (our judgement)."""

GAIN: Final = 0.6
GAIN_SD: Final = 0.4
GAIN_PRIOR_SD_K: Final = 1.0
"""A day of shed inside follows most of the weather outside; the prior weighs as hours that are wrong
by 1 K (our judgement)."""

WORSE_MOST: Final = 1.5
"""So much worse than the shed's own pattern it may have been (our judgement)."""

LEFT_FADES_H: Final = 24.0
LEAST_H: Final = 48
"""Hours of both airs without which nothing is learnt."""

WEATHER_SD_K: Final = 0.7
WEATHER_SD_K_D: Final = 0.5
"""A weather forecast is itself wrong, and more so each day (common practice: 1 to 2 K by day three)."""


def weather_ahead(window: BinWindow, shed_c: Floats) -> Ahead | None:
    """Return the shed's air ahead by the weather; None where it is not supplied or not learnt."""
    if window.weather is None:
        return None
    first_ms = window.now_ms - PAST_H * HOUR_MS + HOUR_MS // 2
    outside = window.weather.hourly(first_ms, PAST_H + FUTURE_H, window.now_ms)
    filled = _bridged(outside)
    if filled is None:
        return None
    use = ~np.isnan(shed_c) & ~np.isnan(outside[:PAST_H])
    if use.sum() < LEAST_H:
        return None
    best: tuple[float, Floats] | None = None
    for lag_h in LAGS_H:
        course, cost = _fit(after_lag(filled, lag_h, filled[0]), shed_c, use)
        if best is None or cost < best[0]:
            best = cost, course
    assert best is not None
    left = shed_c - best[1][:PAST_H]
    before = last_two(left)
    fades = np.exp(-HOURS_AHEAD / LEFT_FADES_H)
    now = newest(before, STALE_H) or 0.0
    errors = leads_of(left) - before[ORIGINS][:, None] * fades
    prior = WEATHER_SD_K + WEATHER_SD_K_D * HOURS_AHEAD / 24.0
    outside_sd = GAIN * (prior - WEATHER_SD_K)
    sd, half = spread_and_band(errors, prior)
    sd, half = np.hypot(sd, outside_sd), np.hypot(half, BAND_Z * outside_sd)
    return Ahead(best[1][PAST_H:] + now * fades, sd, errors, half)


def better(own: Ahead, weather: Ahead | None) -> Ahead:
    """Return the weather's forecast unless it has foreseen the past much worse than the pattern.

    The pattern knows nothing of weather that turns, and calm weeks do not show that.
    """
    if weather is None:
        return own
    far = slice(12, FUTURE_H)
    return (
        own if weather.sd[far].mean() > WORSE_MOST * own.sd[far].mean() + WEATHER_SD_K else weather
    )


def _bridged(outside: Floats) -> Floats | None:
    """Return the weather without gaps; None when it does not reach a day ahead."""
    known = np.flatnonzero(~np.isnan(outside))
    if not len(known) or known[-1] < PAST_H + FUTURE_H // 3:
        return None
    return np.interp(np.arange(len(outside)), known, outside[known])


def _fit(outside: Floats, shed_c: Floats, use: npt.NDArray[np.bool_]) -> tuple[Floats, float]:
    """Return the shed's course by *outside*, and how badly it fits."""
    x, y = outside[:PAST_H][use], shed_c[use]
    middle = float(x.mean())
    weight = (GAIN_PRIOR_SD_K / GAIN_SD) ** 2
    away = x - middle
    gain = float(away @ (y - y.mean()) + weight * GAIN) / float(away @ away + weight)
    course = float(y.mean()) + gain * (outside - middle)
    misfit = shed_c[use] - course[:PAST_H][use]
    return course, float(misfit @ misfit)
