"""The bed's water: drying out, now or in so many days. Too much of it: `too_wet.py`, `sour.py`."""

from __future__ import annotations

from typing import Final

from underlid.binmodel.drying import Drying
from underlid.binmodel.window import BinWindow
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.rules.levels import level
from underlid.rules.moisture_evidence import (
    DEADBAND_PCT,
    UNKNOWN_REASON,
    certainty_beyond,
    doubt_pct,
    evidence_of,
)
from underlid.timeline import DAY_MS

LEAST_SLOPE_PCT_D: Final = 0.1
"""Real drying is 0.1..0.5 % points a day; a slower trend is not told from noise."""


def drying_out(window: BinWindow, drying: Drying | None, open_priority: Priority | None) -> Finding:
    """Return the verdict on a bed that is or will be too dry."""
    if drying is None:
        return Finding(Condition.DRYING_OUT, Verdict.UNKNOWN, reason=UNKNOWN_REASON)
    limits = window.limits
    evidence = evidence_of(window, drying)
    evidence["limit_pct"] = limits.moisture_low_warn_pct
    doubt = doubt_pct(window)
    priority = level(
        -drying.level_pct - doubt,
        (
            (-limits.moisture_low_warn_pct, Priority.MEDIUM),
            (-limits.moisture_low_alarm_pct, Priority.HIGH),
        ),
        None if open_priority is Priority.LOW else open_priority,
        DEADBAND_PCT,
    )
    certainty = certainty_beyond(window, drying.level_pct - limits.moisture_low_warn_pct)
    if priority is not None:
        return Finding(Condition.DRYING_OUT, Verdict.HOLDS, priority, certainty, evidence)
    until = drying.days_until(limits.moisture_low_warn_pct)
    reach_days = limits.dry_within_d + (1.0 if open_priority else 0.0)
    if doubt and _falls(drying) and drying.level_pct <= limits.moisture_low_warn_pct:
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


def _falls(drying: Drying) -> bool:
    """Tell whether the bed surely dries, and faster than noise."""
    slope, high = drying.slope_pct_d, drying.slope_high_pct_d
    return slope is not None and high is not None and slope <= -LEAST_SLOPE_PCT_D and high < 0.0
