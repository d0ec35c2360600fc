"""Means of whole days, one every six hours: the daily wiggle of a cheap soil probe is out of them."""

from __future__ import annotations

from math import nan
from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.binmodel.hour_means import hour_means
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.science.numeric import Floats

STEP_H: Final = 6
MEAN_H: Final = 24

LEAST_COVER: Final = 0.5
"""Share of a day's hours that must be known for its mean to count. Hours, not buckets: a probe that
sends every quarter of an hour fills one bucket in three."""


def day_means(values: Floats) -> Floats:
    """Return means of whole days, one every 6 hours, the last one ending now; NaN where unknown.

    *values* are buckets of 5 minutes; what is over whole hours at the beginning does not count.
    """
    hourly, known = _hourly(values[len(values) % BUCKETS_PER_HOUR :])
    sums = np.concatenate([[0.0], np.cumsum(hourly)])
    counts = np.concatenate([[0], np.cumsum(known)])
    ends = np.arange(MEAN_H, len(hourly) + 1, STEP_H)
    starts = ends - MEAN_H
    hours = counts[ends] - counts[starts]
    enough = hours >= LEAST_COVER * MEAN_H
    with np.errstate(invalid="ignore", divide="ignore"):
        result: Floats = np.where(enough, (sums[ends] - sums[starts]) / hours, np.nan)
    return result


def _hourly(values: Floats) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Return the means of whole hours, 0 where unknown, and which are known."""
    means = hour_means(values)
    known = ~np.isnan(means)
    return np.where(known, means, 0.0), known


def first_day_h(unknown_h: int) -> int:
    """Return when the first day begins that can hold enough hours, if so many before are unknown."""
    return max(0, -(-(unknown_h - round(MEAN_H * LEAST_COVER)) // STEP_H) * STEP_H)


def oldest_day_mean(values: Floats) -> float:
    """Return the first of `day_means` that is known; NaN where none is. *values* are whole days.

    >>> moisture = np.repeat([np.nan, 70.0, 72.0], [300, 276, 288])
    >>> oldest_day_mean(moisture), float(day_means(moisture)[4])
    (70.0, 70.0)
    """
    # Where the first day that can be known has gaps, all are looked at.
    begins_h = first_day_h(int(np.argmin(np.isnan(values))) // BUCKETS_PER_HOUR)
    hourly = hour_means(values[begins_h * BUCKETS_PER_HOUR :][: MEAN_H * BUCKETS_PER_HOUR])
    known = hourly[~np.isnan(hourly)]
    if len(hourly) == MEAN_H and len(known) >= LEAST_COVER * MEAN_H:
        return float(np.cumsum(known)[-1]) / len(known)
    means = day_means(values)
    means = means[~np.isnan(means)]
    return float(means[0]) if len(means) else nan
