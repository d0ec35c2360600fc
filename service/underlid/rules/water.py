"""The bed's water: drying out (now, or in so many days) and too wet."""

from __future__ import annotations

from typing import Final

from underlid.binmodel.drying import Drying
from underlid.binmodel.window import BinWindow
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.rules.levels import level
from underlid.science.moisture import SOUR_BELOW, air_filled_porosity
from underlid.timeline import DAY_MS

DEADBAND_PCT: Final = 2.0

LEAST_SLOPE_PCT_D: Final = 0.1
"""Real drying is 0.1..0.5 % points a day; a slower trend is not told from noise."""

LEVEL_SD_MOST_PCT: Final = 5.0
"""A soil probe whose moisture is less sure has met no weighed sample: its trend is believed, its
level only when it is beyond a limit by that uncertainty (our judgement)."""

UNKNOWN_REASON: Final = "not enough soil moisture in the last 24 hours"


def drying_out(window: BinWindow, drying: Drying | None, open_priority: Priority | None) -> Finding:
    """Return the verdict on a bed that is or will be too dry."""
    if drying is None:
        return Finding(Condition.DRYING_OUT, Verdict.UNKNOWN, reason=UNKNOWN_REASON)
    limits = window.limits
    evidence = _evidence(window, drying)
    evidence["limit_pct"] = limits.moisture_low_warn_pct
    doubt_pct = _doubt_pct(window)
    priority = level(
        -drying.level_pct - doubt_pct,
        (
            (-limits.moisture_low_warn_pct, Priority.MEDIUM),
            (-limits.moisture_low_alarm_pct, Priority.HIGH),
        ),
        None if open_priority is Priority.LOW else open_priority,
        DEADBAND_PCT,
    )
    certainty = _certainty(window, drying.level_pct - limits.moisture_low_warn_pct)
    if priority is not None:
        return Finding(Condition.DRYING_OUT, Verdict.HOLDS, priority, certainty, evidence)
    until = drying.days_until(limits.moisture_low_warn_pct)
    reach_days = limits.dry_within_d + (1.0 if open_priority else 0.0)
    if doubt_pct and _falls(drying) and drying.level_pct <= limits.moisture_low_warn_pct:
        reason = "the bed dries; no weighed sample says how dry it is"
        return Finding(
            Condition.DRYING_OUT, Verdict.HOLDS, Priority.LOW, 0.5, evidence, reason=reason
        )
    if until is None or not _falls(drying) or until[0] > reach_days:
        return Finding(Condition.DRYING_OUT, Verdict.CLEAR, evidence=evidence)
    evidence["days_until_too_dry"] = round(until[0], 1)
    evidence["days_until_too_dry_soonest"] = round(until[1], 1)
    evidence["days_until_too_dry_latest"] = round(min(until[2], 99.0), 1)
    return Finding(
        Condition.DRYING_OUT,
        Verdict.HOLDS,
        Priority.LOW,
        min(certainty, 0.8),
        evidence,
        forecast_for_ms=window.now_ms + round(until[0] * DAY_MS),
    )


def too_wet(window: BinWindow, drying: Drying | None, open_priority: Priority | None) -> Finding:
    """Return the verdict on a bed that holds too much water."""
    if drying is None:
        return Finding(Condition.TOO_WET, Verdict.UNKNOWN, reason=UNKNOWN_REASON)
    limits = window.limits
    evidence = _evidence(window, drying)
    evidence["limit_pct"] = limits.moisture_high_warn_pct
    porosity = float(air_filled_porosity(min(drying.level_pct, 99.0), window.bin.dry_density_kg_l))
    evidence["air_filled_porosity"] = round(porosity, 2)
    evidence["air_filled_porosity_limit"] = SOUR_BELOW
    priority = level(
        drying.level_pct - _doubt_pct(window),
        (
            (limits.moisture_high_warn_pct, Priority.MEDIUM),
            (limits.moisture_high_alarm_pct, Priority.HIGH),
        ),
        open_priority,
        DEADBAND_PCT,
    )
    return Finding(
        Condition.TOO_WET,
        Verdict.HOLDS if priority else Verdict.CLEAR,
        priority or Priority.LOW,
        _certainty(window, drying.level_pct - limits.moisture_high_warn_pct),
        evidence,
    )


def _falls(drying: Drying) -> bool:
    """Tell whether the bed surely dries, and faster than noise."""
    slope, high = drying.slope_pct_d, drying.slope_high_pct_d
    return slope is not None and high is not None and slope <= -LEAST_SLOPE_PCT_D and high < 0.0


def _doubt_pct(window: BinWindow) -> float:
    """Return the % points by which a level must be beyond its limit to be believed."""
    sd_pct = window.moisture_sd_pct()
    return sd_pct if sd_pct > LEVEL_SD_MOST_PCT else 0.0


def _evidence(window: BinWindow, drying: Drying) -> dict[str, float | str]:
    evidence: dict[str, float | str] = {
        "moisture_pct": round(drying.level_pct, 1),
        "moisture_sd_pct": window.moisture_sd_pct(),
    }
    if drying.slope_pct_d is not None:
        evidence["moisture_trend_pct_d"] = round(drying.slope_pct_d, 2)
    return evidence


def _certainty(window: BinWindow, beyond_pct: float) -> float:
    """Return how sure a level is beyond its limit, given how sure the moisture is."""
    sds = abs(beyond_pct) / window.moisture_sd_pct()
    return round(min(0.95, 0.5 + 0.2 * sds), 2)
