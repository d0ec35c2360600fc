"""Drying out: the bed is too dry, or will be in so many days. Too much water: `too_wet.py`, `sour.py`."""

from __future__ import annotations

from typing import Final

from underlid.binmodel.water.drying import Drying
from underlid.binmodel.window import BinWindow
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.rules.levels import level
from underlid.rules.moisture_evidence import (
    DEADBAND_PCT,
    UNKNOWN_REASON,
    certainty_beyond,
    chance_below,
    doubt_pct,
    evidence_of,
)
from underlid.timeline import DAY_MS

SOON_DRY_CHANCE: Final = 0.65
KEEPS_CHANCE: Final = 0.1
"""A falling bed whose level is a guess is told of when it is so likely too dry within `dry_within_d`; and
until the chance is so much smaller (our judgement)."""

SAID_TIMES: Final = 2.0
"""A date so many times `dry_within_d` ahead is said, though no alert is due yet (our judgement)."""

TOO_FAST_REASON: Final = (
    "it fell faster than a bed can dry: see whether the probe still sits in the bed"
)

LEAST_SLOPE_PCT_D: Final = 0.1
"""Real drying is 0.1..0.5 % points a day; a slower trend is not told from noise."""


def evaluate(window: BinWindow, drying: Drying | None, open_priority: Priority | None) -> Finding:
    """Return the verdict on a bed that is or will be too dry."""
    if drying is None:
        return Finding(Condition.DRYING_OUT, Verdict.UNKNOWN, reason=UNKNOWN_REASON)
    if drying.too_fast:
        return Finding(Condition.DRYING_OUT, Verdict.UNKNOWN, reason=TOO_FAST_REASON)
    limits = window.limits
    evidence = evidence_of(drying)
    evidence["limit_pct"] = limits.moisture_low_warn_pct
    doubt = doubt_pct(drying)
    priority = level(
        -drying.level_pct - doubt,
        (
            (-limits.moisture_low_warn_pct, Priority.MEDIUM),
            (-limits.moisture_low_alarm_pct, Priority.HIGH),
        ),
        None if open_priority is Priority.LOW else open_priority,
        DEADBAND_PCT,
    )
    certainty = certainty_beyond(drying, drying.level_pct - limits.moisture_low_warn_pct)
    if priority is Priority.HIGH:
        evidence["limit_pct"] = limits.moisture_low_alarm_pct
    if priority is not None:
        return Finding(Condition.DRYING_OUT, Verdict.HOLDS, priority, certainty, evidence)
    if doubt:
        chance = chance_below(drying, limits.moisture_low_warn_pct, limits.dry_within_d)
        return _by_guess(drying, evidence, chance, open_priority)
    until = drying.days_until(limits.moisture_low_warn_pct)
    if until is None or not _falls(drying) or until[0] > SAID_TIMES * limits.dry_within_d:
        return Finding(Condition.DRYING_OUT, Verdict.CLEAR, evidence=evidence)
    evidence["days_until_too_dry"] = round(until[0], 1)
    evidence["days_until_too_dry_soonest"] = round(until[1], 1)
    evidence["days_until_too_dry_latest"] = round(min(until[2], 99.0), 1)
    reach_days = limits.dry_within_d + (1.0 if open_priority else 0.0)
    return Finding(
        Condition.DRYING_OUT,
        Verdict.HOLDS if until[0] <= reach_days else Verdict.CLEAR,
        Priority.LOW,
        min(certainty, 0.8),
        evidence,
        forecast_for_ms=window.now_ms + round(until[0] * DAY_MS),
    )


def _by_guess(
    drying: Drying,
    evidence: dict[str, float | str],
    chance: float,
    open_priority: Priority | None,
) -> Finding:
    """Return the verdict on a bed of unknown level: its fall is known, so no date, but a chance."""
    enough = SOON_DRY_CHANCE - (KEEPS_CHANCE if open_priority else 0.0)
    if not _falls(drying) or chance < enough:
        return Finding(Condition.DRYING_OUT, Verdict.CLEAR, evidence=evidence)
    evidence["chance_pct"] = round(100.0 * chance)
    reason = "the bed dries; no weighed sample says how dry it is"
    return Finding(
        Condition.DRYING_OUT, Verdict.HOLDS, Priority.LOW, round(chance, 2), evidence, reason=reason
    )


def _falls(drying: Drying) -> bool:
    """Tell whether the bed surely dries, and faster than noise."""
    slope, high = drying.slope_pct_d, drying.slope_high_pct_d
    return slope is not None and high is not None and slope <= -LEAST_SLOPE_PCT_D and high < 0.0
