"""The bed's moisture over the next 72 hours, by its trend."""

from __future__ import annotations

import numpy as np

from underlid.binmodel.day_means import MEAN_H
from underlid.binmodel.outlook.hours import AHEAD_H
from underlid.binmodel.water.drying import Drying, dry_pct
from underlid.science.numeric import Floats
from underlid.science.trend import BAND_Z


def moisture_ahead(drying: Drying) -> tuple[Floats, Floats]:
    """Return moisture at 1, 2, … hours ahead, % wet basis, and its sd.

    The level is the mean of the last day, so it stood in the middle of it. It is as sure as the samples
    make it, by their number and how far from them it is; without samples as soil probes are. That the bed
    is not everywhere as it is at the probe is not in the band.
    """
    days = (np.arange(1.0, AHEAD_H + 1.0, dtype=np.float64) + MEAN_H / 2.0) / 24.0
    slope, low, high = drying.slope_pct_d, drying.slope_low_pct_d, drying.slope_high_pct_d
    if slope is None or low is None or high is None:
        loses, slope_sd = drying.usual_pct_d
        slope = -loses
    else:
        slope_sd = (high - low) / (2.0 * BAND_Z)
    sd: Floats = np.hypot(drying.probe_sd_pct, slope_sd * days)
    moves = slope * days
    # The same water every day: of a drier bed it takes ever more points, M = W/(D + W).
    return drying.level_pct + moves / np.maximum(0.1, 1.0 + moves / dry_pct(drying.level_pct)), sd
