"""What the water rules share: how far a level is believed, its evidence, how sure a limit is passed."""

from __future__ import annotations

from math import erf, sqrt
from typing import Final

from underlid.binmodel.water.drying import Drying
from underlid.science.trend import BAND_Z

DEADBAND_PCT: Final = 2.0

LEVEL_SD_MOST_PCT: Final = 5.0
"""A soil probe whose moisture is less sure has met no weighed sample: its trend is believed, its
level only when it is likely beyond a limit (our judgement)."""

GUESS_SDS: Final = 0.524
"""Then it is with a chance of 70 %."""

UNKNOWN_REASON: Final = "not enough soil moisture in the last 24 hours"


def doubt_pct(drying: Drying) -> float:
    """Return the % points by which a level must be beyond its limit to be believed."""
    return GUESS_SDS * drying.sd_pct if drying.sd_pct > LEVEL_SD_MOST_PCT else 0.0


def chance_below(drying: Drying, limit_pct: float, days: float = 0.0) -> float:
    """Return how likely the bed is, in so many days by its trend, below a limit.

    >>> round(chance_below(Drying(63.0, -0.5, -0.6, -0.4, 5.0, 8.0), 65.0, 3.0), 2)
    0.67
    """
    slope, high = drying.slope_pct_d, drying.slope_high_pct_d
    fall = 0.0 if slope is None else -slope * days
    fall_sd = 0.0 if slope is None or high is None else (high - slope) / BAND_Z * days
    sd = sqrt(drying.sd_pct**2 + fall_sd**2)
    return 0.5 * (1.0 + erf((limit_pct - drying.level_pct + fall) / sd / sqrt(2.0)))


def evidence_of(drying: Drying) -> dict[str, float | str]:
    """Return level, its uncertainty and its trend."""
    evidence: dict[str, float | str] = {
        "moisture_pct": round(drying.level_pct, 1),
        "moisture_sd_pct": drying.sd_pct,
    }
    if drying.slope_pct_d is not None:
        evidence["moisture_trend_pct_d"] = round(drying.slope_pct_d, 2)
    return evidence


def certainty_beyond(drying: Drying, beyond_pct: float) -> float:
    """Return how sure a level is beyond its limit, given how sure the moisture is."""
    sds = abs(beyond_pct) / drying.sd_pct
    return round(min(0.95, 0.5 + 0.2 * sds), 2)
