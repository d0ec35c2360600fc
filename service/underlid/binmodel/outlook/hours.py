"""The last two weeks of a bin as hourly means, the last one ending when the forecast is made.

Hour 0 is the oldest. A day is a row of 24 of them, so the column says the time of day without any
calendar. Read `shed_outlook.py` next.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR, WINDOW_BUCKETS
from underlid.binmodel.window import BinWindow
from underlid.science.numeric import Floats

DAY_H: Final = 24
PAST_H: Final = WINDOW_BUCKETS // BUCKETS_PER_HOUR
AHEAD_H: Final = 72
FUTURE_H: Final = AHEAD_H + 1
"""Hourly means that are foreseen: one more, so that the value at each whole hour lies between two."""

TIME_OF_DAY: Final = np.arange(PAST_H) % DAY_H
TIME_AHEAD: Final = np.arange(FUTURE_H) % DAY_H
"""The column of each hour, past and ahead."""

ONES: Final = np.ones(BUCKETS_PER_HOUR)
"""A product with these sums short rows several times as fast as their sum."""

LEAST_BUCKETS: Final = 3
"""Known 5-minute means without which an hour is not known: a quarter of it, unless a probe sends seldom."""

USUAL_H: Final = 48
"""Newest hours with anything in them that tell how much is usual."""


@dataclass(frozen=True, slots=True)
class Hours:
    """Hourly means over `PAST_H` hours, NaN where unknown."""

    bed_c: Floats
    shed_c: Floats


def hours_of(window: BinWindow) -> Hours:
    """Return the hours before `window.now_ms`."""
    return Hours(
        bed_c=hourly(window.means("bed_temp_c", WINDOW_BUCKETS)),
        shed_c=hourly(window.means("shed_temp_c", WINDOW_BUCKETS)),
    )


def hourly(values: Floats) -> Floats:
    """Return the means of each 12 values; NaN where fewer than three are known, and than usual.

    >>> hourly(np.array([1.0] * 6 + [2.0] * 6 + [np.nan] * 10 + [3.0] * 2)).tolist()
    [1.5, nan]
    >>> hourly(np.array([1.0, 2.0] + [np.nan] * 15 + [3.0] * 2 + [np.nan] * 5)).tolist()
    [1.5, 3.0]
    """
    rows = values.reshape(-1, BUCKETS_PER_HOUR)
    sums = rows @ ONES
    if not np.isnan(sums).any():
        return np.asarray(sums / BUCKETS_PER_HOUR)
    known = ~np.isnan(rows)
    count = known.sum(axis=1)
    total = np.where(known, rows, 0.0).sum(axis=1)
    least = min(LEAST_BUCKETS, int(np.median(count[count > 0][-USUAL_H:]))) if count.any() else 1
    enough = count >= least
    return np.where(enough, total / np.maximum(count, 1), np.nan)


def newest(values: Floats, within_h: int) -> float | None:
    """Return the newest known value that is not older than *within_h* hours."""
    known = np.flatnonzero(~np.isnan(values[-within_h:]))
    return float(values[-within_h:][known[-1]]) if len(known) else None


def at_hours(means: Floats) -> Floats:
    """Return the values at whole hours from `FUTURE_H` hourly means: the middle of each two."""
    return (means[..., :-1] + means[..., 1:]) / 2.0


def filled(values: Floats, instead: Floats) -> Floats:
    """Return *values* with gaps filled: short ones by a straight line, others by *instead*.

    A gap of at most 6 hours is short; what lies before the first or after the last value is not.
    """
    known = ~np.isnan(values)
    if known.all():
        return values
    places = np.arange(len(values))
    at = np.flatnonzero(known)
    if not len(at):
        return instead.copy()
    line = np.interp(places, at, values[at])
    before = np.maximum.accumulate(np.where(known, places, -(10**6)))
    after = np.minimum.accumulate(np.where(known, places, 10**6)[::-1])[::-1]
    short = after - before <= SHORT_GAP_H
    return np.where(known, values, np.where(short, line, instead))


SHORT_GAP_H: Final = 7


def after_lag(driver: Floats, lag_h: float, start: float) -> Floats:
    """Return what follows *driver* (hourly means on the last axis) with the time constant *lag_h*.

    Parameters
    ----------
    driver
        What is followed; rows are independent.
    lag_h
        Time constant, hours, from 1.5 on: e^(n/lag) of n hours must be a float.
    start
        Its value when the first hour begins.

    The mean of each hour is taken as the middle between its beginning and its end. Exact for
    drivers that are constant within the hour.

    >>> after_lag(np.full(40, 10.0), 5.0, 0.0)[[0, 39]].round(3).tolist()
    [0.906, 9.996]
    """
    keeps, grow = _growth(lag_h, driver.shape[-1])
    ends = (start * keeps + (1.0 - keeps) * np.add.accumulate(driver * grow, axis=-1)) / grow
    result = ends.copy()
    result[..., 1:] += ends[..., :-1]
    result[..., 0] += start
    result /= 2.0
    return result


def rows_after_lag(rows: Floats, lag_h: float) -> Floats:
    """Return `after_lag` of many *rows* as long as a forecast, from 0: in one product.

    >>> rows = np.tile(np.arange(float(FUTURE_H)), (2, 1))
    >>> np.allclose(rows_after_lag(rows, 5.0), after_lag(rows, 5.0, 0.0))
    True
    """
    keeps = float(np.exp(-1.0 / lag_h))
    # What an hour still gives, so many hours later; nothing to those before it.
    gives = np.zeros(2 * FUTURE_H)
    gives[:FUTURE_H] = (1.0 - keeps) / 2.0 * np.exp(-LATER_H / lag_h)
    gives[1:FUTURE_H] += gives[: FUTURE_H - 1].copy()
    return rows @ gives.take(LATER)


LATER_H: Final = np.arange(FUTURE_H)
LATER: Final = (LATER_H - LATER_H[:, None]) % (2 * FUTURE_H)
"""By how many hours the column's hour is later than the row's; those before it find nothing there."""


@lru_cache(maxsize=16)
def _growth(lag_h: float, count: int) -> tuple[float, Floats]:
    """Return what is left of a distance after an hour, and its growth backwards in time."""
    return float(np.exp(-1.0 / lag_h)), np.exp(np.arange(count) / lag_h)
