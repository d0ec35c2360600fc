"""Whether a bin's feeds go as fast as its herd eats, or as fast as food rots: by the warmth they leave.

Food that rots warms a bed for a week or more, a little less each day. Where the herd sets the pace, the
warmth rises as food softens, and ends with it, days sooner. How likely each is before, and how looks
tell the two apart, is in `food/used_up.py`; how warm a bed is by itself, in `appetite.py`.
"""

from __future__ import annotations

from math import exp, log
from typing import Final

import numpy as np

from underlid.binmodel.food.rotting import ROTTEN_DAYS
from underlid.binmodel.food.used_up import (
    HERD_SD,
    HERD_SETS_PACE,
    ROT_DAYS,
    ROT_SD,
    herd_chance,
    herd_days,
)
from underlid.binmodel.outlook.feed_pulse import W_KG_D, volatile_kg
from underlid.binmodel.taught.lessons import Lesson
from underlid.binmodel.taught.past import HOURS, Past
from underlid.binmodel.taught.posterior import counted, mean_and_sd, normal
from underlid.journal.entries import Feed
from underlid.science.heat import (
    DECAY_PER_D,
    HYDROLYSIS_PER_D,
    bed_heat_capacity_j_k,
    decay_rate_factor,
)
from underlid.science.numeric import Floats

BLOCK_H: Final = 12
BLOCKS: Final = HOURS // BLOCK_H
"""Means of half days are compared: nights with nights, so that hours of sun on the bin weigh little."""

FRESH_BLOCKS: Final = 2
"""The day before the first feed shows what the bed makes without it."""

LEAST_BLOCKS: Final = 8
"""Four days: fewer do not show how a warmth ends."""

LOG_DAYS: Final = np.linspace(log(1.5), log(14.0), 18)
DAYS: Final = np.exp(LOG_DAYS)[:, None]
"""Days at 20 °C until a tenth of a feed is left, as they are tried."""

HUMP: Final = 1.35
"""Food that softens and is eaten warms the bed by a hump so many times as long: a tenth of it comes after
(our judgement)."""

GAINS: Final = np.exp(np.linspace(-2.5, 1.5, 25))
LOG_GAIN_PRIOR: Final = normal(np.log(GAINS), -0.2, 0.6)
"""How much of the heat that the table makes of a feed shows (our judgement)."""

NOISE_K: Final = 0.1
NOISE_BLOCKS: Final = 4.0
"""What a mean is off by, and how many means that opinion is worth: their scatter tells the rest (our
judgement)."""

BASE_SD_K: Final = 0.6
"""A constant beside it: sensors differ, and an old bed is warm without feeds (our judgement)."""

SILENT: Final = 0.2
"""How likely the warmth of the feeds does not show: then it tells nothing (our judgement)."""

MOST_ODDS: Final = 3.0
"""The logarithm of the odds that warmth can bring: another food may go another way (our judgement)."""


def paces(
    past: Past, name: str, heat_k: Floats, lag_h: float, eaten_g_d: float
) -> tuple[Lesson, Lesson]:
    """Return how likely the herd sets the pace of this bin's feeds, and how many of its days they take.

    Both before any look; the second is a factor on what its appetite says.

    Parameters
    ----------
    heat_k, lag_h
        The hourly self-heat of the past, and the time constant it was made with.
    eaten_g_d
        The herd's appetite.
    """
    feeds = [
        (past.hour_of(one.at_ms) / BLOCK_H, volatile_kg(one.what), one.what.mass_g)
        for one in past.entries
        if isinstance(one.what, Feed)
    ]
    warm_k = _block_means(heat_k)
    at = np.flatnonzero(~np.isnan(warm_k))
    at = at[at >= (feeds[0][0] - FRESH_BLOCKS if feeds else BLOCKS)]
    if len(at) < LEAST_BLOCKS or eaten_g_d <= 0.0:
        text = (
            f"Whether food in {name} goes as fast as the herd eats or as fast as it rots is not known:"
            f" {100.0 * HERD_SETS_PACE:.0f} to {100.0 * (1.0 - HERD_SETS_PACE):.0f}."
        )
        as_told = (
            f"Where the herd sets the pace, a feed in {name} is taken to last as its appetite says."
        )
        return Lesson(HERD_SETS_PACE, 0.0, text), Lesson(1.0, HERD_SD, as_told)
    bin_ = past.window.bin
    loss_w_k = bed_heat_capacity_j_k(bin_.bed_kg, bin_.target_moisture_pct) / 3600.0 / lag_h
    by_rot, by_herd = (
        _log_fit(course[:, at] / loss_w_k, warm_k[at]) for course in _watts(past, feeds)
    )
    silent = _log_fit(np.zeros((1, len(at))), warm_k[at]) + log(SILENT / (1.0 - SILENT))
    herd_d = herd_days(float(np.median([mass_g for _, _, mass_g in feeds])), eaten_g_d)
    rot = _log_sum(_weighed(np.logaddexp(by_rot, silent), ROT_DAYS, ROT_SD))
    # A herd may also eat so evenly that the warmth falls as that of rot does, only sooner.
    either = np.logaddexp(by_herd, by_rot) - log(2.0)
    herd = _weighed(np.logaddexp(either, silent), herd_d, HERD_SD)
    odds = min(MOST_ODDS, max(-MOST_ODDS, float(_log_sum(herd) - rot)))
    chance = herd_chance(odds)
    log_days, log_sd = mean_and_sd(LOG_DAYS, herd)
    times = exp(log_days) / herd_d
    source = f"learnt from the warmth of {counted(len(feeds), 'feed')}"
    text = (
        f"Food in {name} goes as fast as its herd eats with a chance of {100.0 * chance:.0f} %, else"
        f" as fast as it rots, {source}."
    )
    longer = (
        f"Where the herd sets the pace, a feed in {name} lasts {times:.2f} times as long as its appetite"
        f" says (± {times * log_sd:.2f}), {source}."
    )
    span = len(feeds), past.start_ms, past.until_ms
    return (
        Lesson(round(chance, 3), 0.0, text, *span),
        Lesson(round(times, 2), round(times * log_sd, 2), longer, *span),
    )


def _block_means(hourly: Floats) -> Floats:
    """Return the means of what is known of each block; NaN where half of it is not."""
    hours = hourly.reshape(-1, BLOCK_H)
    known = ~np.isnan(hours)
    count = known.sum(axis=1)
    total = np.where(known, hours, 0.0).sum(axis=1)
    result: Floats = np.where(count >= BLOCK_H // 2, total / np.maximum(count, 1), np.nan)
    return result


def _watts(past: Past, feeds: list[tuple[float, float, float]]) -> tuple[Floats, Floats]:
    """Return the heat of all feeds, W: days that are tried by blocks; by rot, and by the herd."""
    temp = _block_means(past.hourly("bed_temp_c"))
    speed = decay_rate_factor(np.where(np.isnan(temp), np.nanmean(temp), temp))
    clock = np.concatenate([[0.0], np.cumsum(speed * BLOCK_H / 24.0)])
    middle = (clock[:-1] + clock[1:]) / 2.0
    rots, eaten = np.zeros((len(DAYS), BLOCKS)), np.zeros((len(DAYS), BLOCKS))
    falls, burns = HYDROLYSIS_PER_D * ROTTEN_DAYS / DAYS, DECAY_PER_D * ROTTEN_DAYS / DAYS
    for block, volatile, _ in feeds:
        age = middle - np.interp(block, np.arange(BLOCKS + 1), clock)
        since = np.maximum(age, 0.0)
        shrinks = np.exp(-burns * since) - np.exp(-falls * since)
        rots += volatile * falls * burns / (falls - burns) * shrinks
        part = np.minimum(since / (HUMP * DAYS), 1.0)
        eaten += volatile * 2.0 / (HUMP * DAYS) * np.sin(np.pi * part) ** 2
    return rots * speed * W_KG_D, eaten * speed * W_KG_D


def _log_fit(warms_k: Floats, means_k: Floats) -> Floats:
    """Return how well each course, a row of *warms_k*, explains the means, as a log likelihood.

    Source: least squares beside a constant; Student's t for scatter of unknown size.
    """
    left = means_k - GAINS[:, None, None] * warms_k
    trust = (NOISE_K / BASE_SD_K) ** 2
    base = left.sum(axis=2) / (len(means_k) + trust)
    square = np.sum((left - base[..., None]) ** 2, axis=2) + trust * base**2
    freedom = NOISE_BLOCKS + len(means_k)
    logs = -0.5 * freedom * np.log(NOISE_BLOCKS * NOISE_K**2 + square) + LOG_GAIN_PRIOR[:, None]
    return _log_sum(logs)


def _weighed(log_fit: Floats, days: float, sd: float) -> Floats:
    """Return how likely each of the days is, as logarithms, where they are known to so much before."""
    prior = normal(LOG_DAYS, log(days), sd)
    result: Floats = prior - _log_sum(prior) + log_fit
    return result


def _log_sum(logs: Floats) -> Floats:
    """Return the logarithm of the sum of exponentials over the first axis."""
    result: Floats = np.logaddexp.reduce(logs, axis=0)
    return result
