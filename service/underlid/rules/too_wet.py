"""Too wet: the bed's moisture against the herd's upper limits. Before that, air runs out: `sour.py`."""

from __future__ import annotations

from typing import Final

from underlid.binmodel.water.drying import Drying
from underlid.binmodel.water.water_balance import TIGHT
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import LiquidAdded
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.rules.levels import level
from underlid.rules.moisture_evidence import (
    DEADBAND_PCT,
    UNKNOWN_REASON,
    certainty_beyond,
    doubt_pct,
    evidence_of,
)
from underlid.science.moisture import SOUR_BELOW, air_filled_porosity
from underlid.timeline import HOUR_MS

DRAINS_MS: Final = 36 * HOUR_MS
"""What was poured into a bed with a drain, and is too much, has mostly left it by then (our judgement)."""


def wet_now_pct(window: BinWindow, drying: Drying) -> float:
    """Return how wet the bed is, % wet basis: by the last day, or by the last hours if they are wetter.

    Water comes in within hours, and a day's mean lags behind it. But what was just poured into a bed with
    a drain may run out again: then the day counts.
    """
    poured = any(
        isinstance(entry.what, LiquidAdded) and entry.at_ms > window.now_ms - DRAINS_MS
        for entry in window.entries
    )
    if poured and window.bin.kind not in TIGHT:
        return drying.level_pct
    return max(drying.level_pct, drying.present_pct)


def evaluate(window: BinWindow, drying: Drying | None, open_priority: Priority | None) -> Finding:
    """Return the verdict on a bed that holds too much water."""
    if drying is None:
        return Finding(Condition.TOO_WET, Verdict.UNKNOWN, reason=UNKNOWN_REASON)
    limits = window.limits
    wet_pct = wet_now_pct(window, drying)
    evidence = evidence_of(drying)
    evidence["moisture_pct"] = round(wet_pct, 1)
    evidence["limit_pct"] = limits.moisture_high_warn_pct
    porosity = float(air_filled_porosity(min(wet_pct, 99.0), window.bin.dry_density_kg_l))
    evidence["air_filled_porosity"] = round(porosity, 2)
    evidence["air_filled_porosity_limit"] = SOUR_BELOW
    priority = level(
        wet_pct - doubt_pct(drying),
        (
            (limits.moisture_high_warn_pct, Priority.MEDIUM),
            (limits.moisture_high_alarm_pct, Priority.HIGH),
        ),
        open_priority,
        DEADBAND_PCT,
    )
    if priority is Priority.HIGH:
        evidence["limit_pct"] = limits.moisture_high_alarm_pct
    return Finding(
        Condition.TOO_WET,
        Verdict.HOLDS if priority else Verdict.CLEAR,
        priority or Priority.LOW,
        certainty_beyond(drying, wet_pct - limits.moisture_high_warn_pct),
        evidence,
    )
