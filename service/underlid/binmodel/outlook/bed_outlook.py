"""The bed's temperature over the next 72 hours: what the shed gives, and what the feeds give.

bed = what follows the shed's air with τ + an offset + the feeds' warmth + what is left. The feeds'
warmth has a prior from their dry matter, ± 50 %, common to all feeds of the bin in part, so that an
earlier feed tells of the next. What has been seen scales it; several courses of decay are weighed
against each other. What is left fades. What is not known counts from the bed as it is now.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.binmodel.outlook.feed_pulse import (
    BACK_H,
    COURSES,
    TIGHT,
    USUAL,
    Courses,
    Pulses,
    most_w,
    pulses_of,
    warmth_k,
)
from underlid.binmodel.outlook.hours import (
    FUTURE_H,
    PAST_H,
    TIME_AHEAD,
    TIME_OF_DAY,
    Hours,
    after_lag,
    filled,
    newest,
    rows_after_lag,
)
from underlid.binmodel.outlook.shed_outlook import (
    HOURS_AHEAD,
    Ahead,
    bridged,
    daily_pattern,
    last_two,
)
from underlid.binmodel.outlook.spread import ORIGINS, leads_of, spread_and_band
from underlid.binmodel.thermal import lag_h_of, loss_w_k_of
from underlid.binmodel.window import BinWindow
from underlid.science.numeric import Floats
from underlid.science.trend import BAND_Z

COMMON_SD: Final = 0.40
OWN_SD: Final = 0.35
"""Of a feed's warmth over its prior: what all feeds of a bin share, and what is each one's own
(together ± 50 %, our judgement: no heat model hits peaks)."""

OFFSET_SD_K: Final = 1.5
"""Of the bed over its shed when nothing is fed: sensors, sun on one wall, evaporation."""

LEFT_FADES_H: Final = 48.0
LEFT_SD_K: Final = 0.5
"""What feeds and shed do not explain, and how long it lasts (our judgement)."""

STEP_SD_K: Final = 0.15
STEP_PRIOR_H: Final = 24.0
"""Of its change in an hour; the prior counts as a day of data."""

SCALE_MOST: Final = 2.5
"""Of a feed's warmth over its prior. All of its volatile solids at 20 MJ/kg, hardly any lost as vapour,
in a bin that loses a third less than thought: 1.2 · 1.4 · 1.5 (our judgement)."""

TEMPER: Final = 0.5
"""The evidence for a course counts by half: none is quite right (our judgement)."""

ALIKE_H: Final = 3.0
ALIKE_WITHOUT_AIR_H: Final = 10.0
"""The misfits of so many hours in a row count as one, since a wrong τ or a warm wall lasts; where the
shed's air is not measured its weather looks like the warmth of feeds (our judgement)."""

WORK_H: Final = 2
"""The hour of a feed and the next say nothing: the lid was off, the food cool (our judgement)."""

COURSE_SD: Final = 0.15
COURSE_H: Final = 24.0
"""Of a pulse's warmth, a day ahead: food goes its own course, whatever fits so far (our judgement)."""

GONE: Final = -np.expm1(-HOURS_AHEAD / COURSE_H)
"""How much of that an hour ahead has."""

TIGHT_FROM: Final = 0.2
"""From this share of the most heat on, usually made, want of oxygen may matter: food may be fast, and air
short."""

PROBE_SD_K: Final = 0.2
"""What a bed probe may be off by, which its own readings do not show (from memory: ± 0.5 K at most)."""

BAND_PROBE_SD_K: Final = 0.1
"""In a band it counts by half: what is read is off by the same, what is true is not (our judgement)."""

STALE_H: Final = 6
LEAST_H: Final = 3
"""Known hours of bed temperature without which nothing is foreseen."""

MOST_SD_SHARE: Final = 0.15
"""Of the most warmth that oxygen allows: how far that is known (our judgement)."""

KEEPS: Final = np.exp(-1.0 / LEFT_FADES_H)
FADES: Final = np.exp(-HOURS_AHEAD / LEFT_FADES_H)
"""What an hour, and what each hour ahead, leaves of what feeds and shed do not explain."""


@dataclass(frozen=True, slots=True)
class Fit:
    """What the past says of one bin's bed: the feeds' warmth ahead, its sd, and what was left."""

    own_k: Floats
    own_sd_k: Floats
    left_k: Floats


def bed_ahead(window: BinWindow, hours: Hours, shed: Ahead | None) -> Ahead | None:
    """Return the bed's temperature ahead; None without a bed temperature of the last hours."""
    bed = hours.bed_c
    known = ~np.isnan(bed)
    now = newest(bed, STALE_H)
    if now is None or known.sum() < LEAST_H:
        return None
    lag_h = lag_h_of(window)
    room, room_ahead, room_errors = _room(hours, shed, lag_h)
    alike_h = ALIKE_H if shed else ALIKE_WITHOUT_AIR_H
    pulses = pulses_of(window)
    excess = np.where(known, bed - room, np.nan)
    guess = np.concatenate([filled(bed, np.full(PAST_H, now))[-BACK_H:], np.full(FUTURE_H, now)])
    if len(pulses.at_h):
        loss = loss_w_k_of(window)
        limit = most_w(window.bin.lid_area_m2)
        usual = warmth_k(pulses, guess, lag_h, loss, limit, USUAL)[0, :, BACK_H:].sum(axis=0)
        rest = now - room_ahead[0] - usual[0]
        guess[BACK_H:] = np.clip(room_ahead + usual + rest, 0.0, 60.0)
        courses = TIGHT if usual.max() * loss > TIGHT_FROM * limit else COURSES
        shapes = warmth_k(pulses, guess, lag_h, loss, limit, courses)
        fit = _with_feeds(excess, shapes, courses, alike_h, _left_alone(pulses))
        seen_k = float(np.nanmax(excess))
        fit = _limited(fit, max(limit / loss, seen_k))
    else:
        fit = _with_feeds(excess, np.zeros((1, 0, BACK_H + FUTURE_H)), USUAL, alike_h, True)
    left_before = last_two(fit.left_k)
    own = fit.own_k + (newest(left_before, STALE_H) or 0.0) * FADES
    errors = room_errors + leads_of(fit.left_k) - left_before[ORIGINS][:, None] * FADES
    prior = np.hypot(
        LEFT_SD_K * np.sqrt(1.0 - np.square(FADES)), _followed_sd(shed, lag_h) if shed else 1.0
    )
    sd, half = spread_and_band(errors, prior)
    sd = np.hypot(sd, np.hypot(fit.own_sd_k, PROBE_SD_K))
    half = np.hypot(half, BAND_Z * np.hypot(fit.own_sd_k, BAND_PROBE_SD_K))
    return Ahead(room_ahead + own, sd, errors, half, own)


def _room(hours: Hours, shed: Ahead | None, lag_h: float) -> tuple[Floats, Floats, Floats]:
    """Return what the shed gives the bed: past, ahead, and the errors of past forecasts of it.

    Without shed air the bed's own level and daily pattern stand in.
    """
    if shed is None:
        pattern = float(np.nanmedian(hours.bed_c)) + daily_pattern(hours.bed_c)
        none = np.zeros((len(ORIGINS), FUTURE_H))
        return pattern[TIME_OF_DAY], pattern[TIME_AHEAD], none
    air = hours.shed_c
    if np.isnan(air).any():
        air = filled(air, bridged(air))
    course = after_lag(np.concatenate([air, shed.mean]), lag_h, float(air[0]))
    unknown = np.isnan(shed.errors)
    errors = rows_after_lag(np.where(unknown, 0.0, shed.errors), lag_h)
    errors[unknown] = np.nan
    return course[:PAST_H], course[PAST_H:], errors


def _followed_sd(shed: Ahead, lag_h: float) -> Floats:
    """Return the shed's sd after the bed's lag."""
    return after_lag(shed.sd, lag_h, 0.0)


def _left_alone(pulses: Pulses) -> npt.NDArray[np.bool_]:
    """Tell of each hour's change over the past span whether nobody fed then or shortly before."""
    alone = np.ones(BACK_H + WORK_H, dtype=np.bool_)
    for later in range(WORK_H):
        alone[np.minimum(pulses.at_h.astype(np.int64), BACK_H) + later] = False
    return alone[1:BACK_H]


def _with_feeds(
    excess: Floats,
    shapes: Floats,
    kinds: Courses,
    alike_h: float,
    alone: npt.NDArray[np.bool_] | bool,
) -> Fit:
    """Fit offset and feeds to the bed's excess over the shed, for each course of decay, and mix them."""
    courses, feeds, _ = shapes.shape
    design = np.concatenate([np.ones((courses, 1, shapes.shape[2])), shapes], axis=1)
    past = excess[-BACK_H:]
    change = past[1:] - KEEPS * past[:-1]
    use = ~np.isnan(change) & alone
    y = change[use]
    x = (design[:, :, 1:BACK_H] - KEEPS * design[:, :, : BACK_H - 1])[:, :, use]
    prior_mean, precision = _prior(feeds)
    variance = _step_variance(y - prior_mean @ x[min(1, courses - 1)]) if len(y) else STEP_SD_K**2
    variance *= alike_h
    gram = precision + x @ x.transpose(0, 2, 1) / variance
    pull = precision @ prior_mean + x @ y / variance
    covariance = np.linalg.inv(gram)
    found = np.einsum("pij,pj->pi", covariance, pull)
    found[:, 1:] = np.clip(found[:, 1:], 0.0, SCALE_MOST)
    weight = _weights(y, x, found - prior_mean, found, precision, gram, variance, kinds.chance)
    ahead = design[:, :, BACK_H:]
    mixed = (weight[:, None] * found).ravel() @ design.reshape(courses * (feeds + 1), -1)
    sd = _moves_sd(found, covariance, weight, ahead, design[:, :, BACK_H - 2 : BACK_H])
    left = np.concatenate([np.full(PAST_H - BACK_H, np.nan), past - mixed[:BACK_H]])
    return Fit(mixed[BACK_H:], sd, left)


@lru_cache(maxsize=16)
def _prior(feeds: int) -> tuple[Floats, Floats]:
    """Return what offset and feeds are before anything is seen: their mean, and how sure it is."""
    mean = np.concatenate([[0.0], np.ones(feeds)])
    covariance = np.full((feeds + 1, feeds + 1), COMMON_SD**2)
    covariance[0] = covariance[:, 0] = 0.0
    covariance += np.diag(np.concatenate([[OFFSET_SD_K**2], np.full(feeds, OWN_SD**2)]))
    return mean, np.linalg.inv(covariance)


def _moves_sd(
    found: Floats, covariance: Floats, weight: Floats, ahead: Floats, lately: Floats
) -> Floats:
    """Return the sd of what offset and feeds will change from now on: what they make now is seen.

    The feeds' part of it also is as wrong as no course is quite right.
    """
    seen = (lately[:, :, 0] + lately[:, :, 1]) / 2.0
    free = ahead - seen[:, :, None] * FADES
    moves = np.einsum("pi,pih->ph", found, free)
    variance = (free * (covariance @ free)).sum(axis=1) + np.square(moves - weight @ moves)
    warm = np.einsum("pi,pih->ph", found[:, 1:], ahead[:, 1:])
    now = (found[:, 1:] * seen[:, 1:]).sum(axis=1)
    wrong = COURSE_SD * np.maximum(warm, now[:, None]) * GONE
    result: Floats = np.sqrt(weight @ (variance + np.square(wrong)))
    return result


def _limited(fit: Fit, most_k: float) -> Fit:
    """Return the fit with no more warmth ahead than *most_k*, and a band that hardly goes beyond it.

    Where it reaches the most, the feeds do not decide any more how warm the bed gets.
    """
    own = np.minimum(fit.own_k, most_k)
    room_k = np.maximum(MOST_SD_SHARE * most_k, (most_k - own) / BAND_Z)
    return Fit(own, np.minimum(fit.own_sd_k, room_k), fit.left_k)


def _step_variance(residual: Floats) -> float:
    """Return the variance of the misfit's hourly change, robustly, with a prior of a day."""
    ordered, count = np.sort(np.abs(residual)), len(residual)
    typical = 1.4826 * float(ordered[(count - 1) // 2] + ordered[count // 2]) / 2.0
    return (count * typical**2 + STEP_PRIOR_H * STEP_SD_K**2) / (count + STEP_PRIOR_H)


def _weights(
    y: Floats,
    x: Floats,
    moved: Floats,
    found: Floats,
    precision: Floats,
    gram: Floats,
    variance: float,
    chance: Floats,
) -> Floats:
    """Return how likely each course is, from its evidence."""
    misfit = y - np.einsum("pi,pin->pn", found, x)
    cost = np.einsum("pn,pn->p", misfit, misfit) / variance
    cost += ((moved @ precision) * moved).sum(axis=1)
    score = -0.5 * (cost + np.linalg.slogdet(gram)[1]) * TEMPER
    raw = chance * np.exp(score - score.max())
    result: Floats = raw / raw.sum()
    return result
