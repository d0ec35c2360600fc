"""The bed's moisture over the next 72 hours, by its trend."""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.day_means import MEAN_H
from underlid.binmodel.drying import Drying
from underlid.binmodel.outlook.hours import AHEAD_H
from underlid.science.numeric import Floats
from underlid.science.trend import BAND_Z

LEVEL_SHARE: Final = 0.42
"""Of how sure the level is, what it was off by in simulated bins, whose weighed samples err by a point (our
judgement)."""

NO_TREND_SD_PCT_D: Final = 0.3
"""Of a trend that is not known yet (our judgement)."""


def moisture_ahead(drying: Drying) -> tuple[Floats, Floats]:
    """Return moisture at 1, 2, … hours ahead, % wet basis, and its sd.

    The level is the mean of the last day, so it stood in the middle of it. How sure the level is at all is
    by far the most of the band, until samples have been weighed.
    """
    days = (np.arange(1.0, AHEAD_H + 1.0, dtype=np.float64) + MEAN_H / 2.0) / 24.0
    slope, low, high = drying.slope_pct_d, drying.slope_low_pct_d, drying.slope_high_pct_d
    if slope is None or low is None or high is None:
        slope, slope_sd = 0.0, NO_TREND_SD_PCT_D
    else:
        slope_sd = (high - low) / (2.0 * BAND_Z)
    sd: Floats = np.hypot(LEVEL_SHARE * drying.sd_pct, slope_sd * days)
    return drying.level_pct + slope * days, sd
