"""What the water rules share: how far a level is believed, its evidence, how sure a limit is passed."""

from __future__ import annotations

from typing import Final

from underlid.binmodel.drying import Drying
from underlid.binmodel.window import BinWindow

DEADBAND_PCT: Final = 2.0

LEVEL_SD_MOST_PCT: Final = 5.0
"""A soil probe whose moisture is less sure has met no weighed sample: its trend is believed, its
level only when it is beyond a limit by that uncertainty (our judgement)."""

UNKNOWN_REASON: Final = "not enough soil moisture in the last 24 hours"


def doubt_pct(window: BinWindow) -> float:
    """Return the % points by which a level must be beyond its limit to be believed."""
    sd_pct = window.moisture_sd_pct()
    return sd_pct if sd_pct > LEVEL_SD_MOST_PCT else 0.0


def evidence_of(window: BinWindow, drying: Drying) -> dict[str, float | str]:
    """Return level, its uncertainty and its trend."""
    evidence: dict[str, float | str] = {
        "moisture_pct": round(drying.level_pct, 1),
        "moisture_sd_pct": window.moisture_sd_pct(),
    }
    if drying.slope_pct_d is not None:
        evidence["moisture_trend_pct_d"] = round(drying.slope_pct_d, 2)
    return evidence


def certainty_beyond(window: BinWindow, beyond_pct: float) -> float:
    """Return how sure a level is beyond its limit, given how sure the moisture is."""
    sds = abs(beyond_pct) / window.moisture_sd_pct()
    return round(min(0.95, 0.5 + 0.2 * sds), 2)
