"""The air of the shed over the next 72 hours: its own daily pattern, and how far it is from that now.

air = level + pattern(time of day) + what is left. The pattern is that of the last days, the newest
counting most. The distance of the level from its mean over the window fades as it has faded before.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

import numpy as np

from underlid.binmodel.outlook.hours import (
    DAY_H,
    FUTURE_H,
    PAST_H,
    TIME_AHEAD,
    TIME_OF_DAY,
    newest,
)
from underlid.binmodel.outlook.spread import FIRST_ORIGIN_H, ORIGINS, leads_of, spread_and_band
from underlid.science.numeric import Floats
from underlid.science.trend import BAND_Z

FADES_H: Final = (12.0, 24.0, 48.0, 96.0, 240.0)
USUAL_FADE: Final = 2
"""Candidates for how long weather lasts; about two days is usual (common practice)."""

USUAL_WEIGHT: Final = 0.15
"""A candidate one step from the usual must beat it by this share of error (our judgement)."""

FADE_LEADS: Final = (6, 24, 48)
FADE_LEFT: Final = [[np.exp(-(lead + 0.5) / fade) for lead in FADE_LEADS] for fade in FADES_H]

LEVEL_WEIGHT: Final = 0.5 ** ((PAST_H - np.arange(PAST_H)) / (DAY_H * 6.0))

PATTERN_HALVES_D: Final = 4.0
"""A day counts half as much as the one four days later (our judgement)."""

PATTERN_PRIOR_D: Final = 0.5
"""No pattern at all counts as half a day."""

DAY_LEAST_H: Final = 18
STALE_H: Final = 6
"""An anomaly older than this says nothing (our judgement)."""

FIRST_SD_K: Final = 0.25
UNKNOWN_SD_K: Final = 3.0
"""Of the air one hour ahead, and of the level of a shed of which nothing is known."""

HOURS_AHEAD: Final[Floats] = np.arange(FUTURE_H, dtype=np.float64) + 0.5

DAILY_SD_K: Final = 1.5
PATTERN_CHANGE_K: Final = DAILY_SD_K * np.sqrt(2.0) * np.abs(np.sin(np.pi * HOURS_AHEAD / DAY_H))
"""What a daily wave of a shed of which nothing is known may change the air by since now (our judgement)."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """Hourly means ahead, their sd, and the errors of past forecasts (origins by leads)."""

    mean: Floats
    sd: Floats
    errors: Floats
    half: Floats = field(default_factory=lambda: np.zeros(FUTURE_H))
    """Half the width of the 80 % band."""
    own_k: Floats = field(default_factory=lambda: np.zeros(FUTURE_H))
    """Of a bed: what of the mean it makes itself."""


def shed_ahead(shed_c: Floats) -> Ahead | None:
    """Return the shed's air ahead from its last two weeks of hourly means; None without any.

    Bins of a shed whose hour comes at the same time share the work.
    """
    return _shed_ahead(shed_c.tobytes())


@lru_cache(maxsize=8)
def _shed_ahead(hourly_c: bytes) -> Ahead | None:
    shed_c = np.frombuffer(hourly_c)
    known = ~np.isnan(shed_c)
    if not known.any():
        return None
    pattern = daily_pattern(shed_c)
    calm = shed_c - pattern[TIME_OF_DAY]
    weight = np.where(known, LEVEL_WEIGHT, 0.0)
    level = float(np.sum(np.where(known, calm, 0.0) * weight) / np.sum(weight))
    usual = float(np.std(calm[known]))
    off = calm - level
    last = last_two(off)
    after = leads_of(off)
    origin = last[ORIGINS]
    fade_h = _fade_h(after, origin, usual)
    fades = np.exp(-HOURS_AHEAD / fade_h)
    errors = after - origin[:, None] * fades
    now = newest(last, STALE_H)
    days = known.sum() / DAY_H
    wide = np.sqrt((days * usual**2 + UNKNOWN_SD_K**2) / (days + 1.0))
    prior = np.hypot(FIRST_SD_K, wide * np.sqrt(1.0 - np.exp(-2.0 * HOURS_AHEAD / fade_h)))
    wave = PATTERN_CHANGE_K * np.sqrt(PATTERN_PRIOR_D / (days + PATTERN_PRIOR_D))
    if now is None:
        prior = np.full(FUTURE_H, wide)
    sd, half = spread_and_band(errors, prior, np.hypot(prior, wave))
    if now is None:
        sd, half = np.maximum(sd, wide), np.maximum(half, BAND_Z * wide)
    mean = level + (now or 0.0) * fades + pattern[TIME_AHEAD]
    return Ahead(mean, sd, errors, half)


def daily_pattern(values: Floats) -> Floats:
    """Return the mean course of a day about its own mean, 24 values; the window's rows are days."""
    rows = values.reshape(-1, DAY_H)
    known = ~np.isnan(rows)
    whole = known.sum(axis=1) >= DAY_LEAST_H
    if not whole.any():
        return np.zeros(DAY_H)
    rows, known = rows[whole], known[whole]
    zeros = np.where(known, rows, 0.0)
    means = zeros.sum(axis=1) / known.sum(axis=1)
    slopes = _drift(means)
    away = np.where(known, rows - means[:, None] - slopes[:, None] * MIDDLE_OF_DAY, 0.0)
    weight = DAY_WEIGHT[len(DAY_WEIGHT) - len(rows) :]
    total = (known * weight[:, None]).sum(axis=0) + PATTERN_PRIOR_D
    pattern = (away * weight[:, None]).sum(axis=0) / total
    smooth = (pattern[BEFORE] + 2.0 * pattern + pattern[AFTER]) / 4.0
    result: Floats = smooth - smooth.mean()
    return result


def bridged(air: Floats) -> Floats:
    """Return what stands in for long gaps: the daily pattern, on a level that leads from side to side.

    Before the first and after the last known hour it is the level of the whole window.
    """
    pattern = daily_pattern(air)[TIME_OF_DAY]
    level = air - pattern
    known = np.flatnonzero(~np.isnan(level))
    usual = float(np.nanmean(air))
    return pattern + np.interp(np.arange(len(air)), known, level[known], usual, usual)


DAY_WEIGHT: Final = 0.5 ** (np.arange(PAST_H // DAY_H)[::-1] / PATTERN_HALVES_D)
BEFORE: Final = np.arange(DAY_H) - 1
AFTER: Final = (np.arange(DAY_H) + 1) % DAY_H
MIDDLE_OF_DAY: Final = (np.arange(DAY_H) - (DAY_H - 1) / 2.0) / DAY_H


def _drift(means: Floats) -> Floats:
    """Return how much each day's level moves, so that a warming day is not taken for a pattern."""
    if len(means) < 3:
        return np.zeros(len(means))
    result = np.empty(len(means))
    result[1:-1] = (means[2:] - means[:-2]) / 2.0
    result[0], result[-1] = means[1] - means[0], means[-1] - means[-2]
    return result


NOTHING: Final = np.full(2, np.nan)


def last_two(values: Floats) -> Floats:
    """Return for each hour the mean of the two before it, of what is known of them."""
    padded = np.concatenate([NOTHING, values])
    one, two = padded[1:], padded[:-1]
    return np.where(np.isnan(one), two, np.where(np.isnan(two), one, (one + two) / 2.0))


def _fade_h(after: Floats, origin: Floats, spread: float) -> float:
    """Return how long a distance from the mean level lasts, e-folding hours, by what happened."""
    best, least = FADES_H[USUAL_FADE], np.inf
    told = []
    for lead in FADE_LEADS:
        good = ~np.isnan(after[:, lead] - origin)
        told.append((after[good, lead], origin[good]))
    if sum(len(values) for values, _ in told) < FIRST_ORIGIN_H:
        return best
    for place, fade_h in enumerate(FADES_H):
        total = 0.0
        for (values, began), left in zip(told, FADE_LEFT[place], strict=True):
            error = values - began * left
            total += float(np.dot(error, error))
        worse = total * (1.0 + USUAL_WEIGHT * abs(place - USUAL_FADE)) + 1e-9 * spread
        if worse < least:
            best, least = fade_h, worse
    return best
