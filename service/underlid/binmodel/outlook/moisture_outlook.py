"""The bed's moisture over the next 72 hours, by its trend."""

from __future__ import annotations

from math import sqrt
from typing import Final

import numpy as np

from underlid.binmodel.day_means import MEAN_H
from underlid.binmodel.drying import Drying
from underlid.binmodel.outlook.hours import AHEAD_H
from underlid.readings.moisture_line import PLACE_SD_PCT
from underlid.science.numeric import Floats
from underlid.science.trend import BAND_Z

WEIGHING_SD_PCT: Final = 1.0
"""What all samples are off by alike, however many: one hand takes them and one scale weighs them (our
judgement)."""

NO_TREND_SD_PCT_D: Final = 0.3
"""Of a trend that is not known yet (our judgement)."""


def moisture_ahead(drying: Drying) -> tuple[Floats, Floats]:
    """Return moisture at 1, 2, … hours ahead, % wet basis, and its sd.

    The level is the mean of the last day, so it stood in the middle of it. It is as sure as the samples
    make it, by their number and how far from them it is; without samples as soil probes are. That the bed
    is not everywhere as it is at the probe is not in the band.
    """
    days = (np.arange(1.0, AHEAD_H + 1.0, dtype=np.float64) + MEAN_H / 2.0) / 24.0
    slope, low, high = drying.slope_pct_d, drying.slope_low_pct_d, drying.slope_high_pct_d
    if slope is None or low is None or high is None:
        slope, slope_sd = 0.0, NO_TREND_SD_PCT_D
    else:
        slope_sd = (high - low) / (2.0 * BAND_Z)
    sd: Floats = np.hypot(_level_sd_pct(drying), slope_sd * days)
    return drying.level_pct + slope * days, sd


def _level_sd_pct(drying: Drying) -> float:
    """Return how sure the level at the probe is: without what the rest of the bed differs by.

    >>> round(_level_sd_pct(Drying(70.0, None, None, None, 1.0, sd_pct=2.4)), 2)
    1.33
    """
    return max(sqrt(max(0.0, drying.sd_pct**2 - PLACE_SD_PCT**2)), WEIGHING_SD_PCT)
