"""How wrong a forecast may be: from its own errors at past hours, and what errors look like over time.

The same forecast made at past hours of the window shows, lead time by lead time, how wrong it was.
While there are few such hours a prior speaks too. No simulator's constant is in here.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.binmodel.outlook.hours import AHEAD_H, FUTURE_H, PAST_H
from underlid.science.numeric import Floats
from underlid.science.trend import BAND_Z

ORIGIN_STEP_H: Final = 3
"""A past forecast every so many hours: neighbours are wrong alike, so more would tell little."""

FIRST_ORIGIN_H: Final = 24
ORIGINS: Final = np.arange(FIRST_ORIGIN_H, PAST_H - 2, ORIGIN_STEP_H)
"""Hours of the window at whose beginning a past forecast is made."""

FOLLOWS: Final = ORIGINS[:, None] + np.arange(FUTURE_H)
UNKNOWN: Final = np.full(FUTURE_H, np.nan)

MEMORY_H: Final = 24.0
"""Errors of forecasts that lie closer together than this, and the lead time, are not independent
(our judgement)."""

FORGOTTEN_H: Final = MEMORY_H + np.arange(FUTURE_H)

PRIOR_COUNT: Final = 3.0
"""The prior's sd counts as much as so many independent past forecasts (our judgement)."""

MEMBERS: Final = 80
"""Courses that stand for all that may come; a chance is known to about 1/80."""


LEVEL_COUNT: Final = 1.0
DAY_LEAD: Final = 23
"""How large errors are at all is known by as many past forecasts as are independent a day ahead; that they
are as large as the prior says counts as one (our judgement)."""

BAND_SHARE: Final = 0.8
LEADS: Final = np.arange(FUTURE_H)
SOME: Final = slice(0, FUTURE_H, 3)
"""Leads at which past errors are put in order; the ones between are like them."""

IN_SAMPLE: Final = 1.1
IN_SAMPLE_MORE: Final = 0.3
IN_SAMPLE_H: Final = 36.0
"""Past errors look smaller than coming ones, since level, pattern and feeds were fitted to the same
days; the more so the farther ahead, as few such spans lie in two weeks (our judgement)."""

OPTIMISM: Final = IN_SAMPLE + IN_SAMPLE_MORE * -np.expm1(-np.arange(FUTURE_H) / IN_SAMPLE_H)


def leads_of(series: Floats) -> Floats:
    """Return what followed each past origin: row o, column f is the hour f after origin o.

    NaN beyond the window.
    """
    padded = np.concatenate([series, UNKNOWN])
    return padded.take(FOLLOWS)


def spread_of(errors: Floats, prior_sd: Floats) -> Floats:
    """Return the sd of a forecast at each lead, from past *errors* (origins by leads) and a prior."""
    _, alone, variance = _seen(errors)
    return _sd(alone, variance, prior_sd)


def spread_and_band(
    errors: Floats, prior_sd: Floats, band_prior_sd: Floats | None = None
) -> tuple[Floats, Floats]:
    """Return the sd of a forecast at each lead, and half the width of its 80 % band.

    Errors of weather have long tails: most are smaller than their sd says, a few much larger. So the band
    is not so many sd wide; its width is what four past errors of five have stayed within. The prior says
    how that grows with the lead, and the same share of past errors, all leads together, how large it is.
    """
    count, alone, variance = _seen(errors)
    prior = prior_sd if band_prior_sd is None else band_prior_sd
    # A row a lead, and infinity for NaN: so they sort many times faster.
    ordered = np.abs(np.ascontiguousarray(errors[:, SOME].T))
    ordered[np.isnan(ordered)] = np.inf
    ordered.sort(axis=1)
    some = count[SOME]
    place = np.rint(BAND_SHARE * np.maximum(some - 1, 0)).astype(np.int64)
    within = np.where(some > 0, ordered[np.arange(len(some)), place], 0.0)
    seen = np.interp(LEADS, LEADS[SOME], within) * OPTIMISM
    together = float(alone @ np.square(seen / (BAND_Z * prior))) / max(float(alone.sum()), 1e-9)
    days = float(alone[DAY_LEAD])
    level = (days * together + LEVEL_COUNT) / (days + LEVEL_COUNT)
    usual = BAND_Z * np.sqrt(level) * prior
    half: Floats = (alone * seen + PRIOR_COUNT * usual) / (alone + PRIOR_COUNT)
    return _sd(alone, variance, prior_sd), half


def _seen(errors: Floats) -> tuple[npt.NDArray[np.int64], Floats, Floats]:
    """Return of each lead how many errors are known, how many of them count, and their variance."""
    known = ~np.isnan(errors)
    count = known.sum(axis=0)
    held = np.where(known, errors, 0.0)
    squares = np.einsum("of,of->f", held, held)
    alone = count * ORIGIN_STEP_H / FORGOTTEN_H
    return count, alone, squares / np.maximum(count, 1) * np.square(OPTIMISM)


def _sd(alone: Floats, variance: Floats, prior_sd: Floats) -> Floats:
    result: Floats = np.sqrt(
        (alone * variance + PRIOR_COUNT * np.square(prior_sd)) / (alone + PRIOR_COUNT)
    )
    return result


def band(middle: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """Return the ends of the 80 % band."""
    return middle - BAND_Z * sd, middle + BAND_Z * sd


def _shapes() -> Floats:
    """Return errors in units of their sd, members by leads: each wanders as random walks do.

    Drawn once with a fixed start, in pairs of opposite sign, so that every lead has mean 0 and sd 1.
    """
    steps = np.random.default_rng(20260101).standard_normal((MEMBERS // 2, AHEAD_H + 1))
    walks = np.cumsum(steps, axis=1)
    both = np.concatenate([walks, -walks])
    result: Floats = both / both.std(axis=0)
    return result


SHAPES: Final = _shapes()
"""`MEMBERS` by `FUTURE_H` standardised errors."""
