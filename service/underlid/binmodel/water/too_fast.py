"""Moisture that falls faster than any bed dries: then it is the probe.

A bed gives off no more water than vapour can carry. What goes evenly for days, up or down, and what is done
with a probe that surely drifts, is in `faults/ramp.py`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.day_means import MEAN_H, STEP_H, day_means
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.binmodel.water.bed import bed_of
from underlid.binmodel.water.water_balance import DRY_AIR_PCT, falls_at_most_pct_d
from underlid.binmodel.window import BinWindow
from underlid.science.numeric import Floats

FALL_DAYS: Final = 2
FALL_ENDED_H: Final = 72
"""A fall that ended longer ago says nothing of the probe as it is now (our judgement)."""

FALL_LEAST_PCT: Final = 2.0
"""A smaller fall in two days is never called too fast: food that dries in, a probe that settles (our
judgement)."""

RUNS_OFF_H: Final = 72
WARM_C: Final = 25.0
"""For the most that can evaporate where no temperature is known (our judgement)."""


def falls_too_fast(window: BinWindow, means: Floats, days: int, since_h: float | None) -> bool:
    """Tell whether moisture fell, over two days, faster than a bed can give water off.

    Parameters
    ----------
    means
        `day_means` of moisture, % wet basis, over *days*, the last day's own beside them.
    since_h
        Hours since much water came in; None where none did.
    """
    steps = FALL_DAYS * 24 // STEP_H
    falls = means[:-steps] - means[steps:]
    lately_h = float(FALL_ENDED_H + STEP_H)
    if since_h is not None:
        # Water that was poured in spreads and runs off for days.
        lately_h = min(lately_h, since_h - RUNS_OFF_H)
    first = max(0, len(falls) - int(lately_h // STEP_H))
    with np.errstate(invalid="ignore"):
        deep = first + np.flatnonzero(falls[first:] >= FALL_LEAST_PCT)
    if not len(deep):
        return False
    warm_c, rh_pct = _air_of_days(window, days)
    for one in deep:
        # What fell in those days left in the air of those days, not of today.
        part = slice(one, one + steps + 1)
        warmest_c = _most(warm_c[part], WARM_C)
        driest_pct = -_most(-rh_pct[part], -DRY_AIR_PCT)
        bed = bed_of(window, float(means[one + steps]))
        most = falls_at_most_pct_d(window, bed, warmest_c, driest_pct)
        if falls[one] > FALL_DAYS * most + FALL_LEAST_PCT / 2.0:
            return True
    return False


def _air_of_days(window: BinWindow, days: int) -> tuple[Floats, Floats]:
    """Return day means, as of the moisture: the warmer of bed and shed, °C, and the shed's humidity, %."""
    count = (days * 24 + MEAN_H) * BUCKETS_PER_HOUR
    bed_c, air_c = window.means("bed_temp_c", count), window.means("shed_temp_c", count)
    return day_means(np.fmax(bed_c, air_c)), day_means(window.means("shed_rh_pct", count))


def _most(values: Floats, other: float) -> float:
    """Return the largest known value, *other* where none is."""
    known = values[~np.isnan(values)]
    return float(known.max()) if len(known) else other
