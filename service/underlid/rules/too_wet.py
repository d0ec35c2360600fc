"""Too wet: the bed's moisture against the herd's upper limits. Before that, air runs out: `sour.py`."""

from __future__ import annotations

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
from underlid.science.moisture import SOUR_BELOW, air_filled_porosity


def evaluate(window: BinWindow, drying: Drying | None, open_priority: Priority | None) -> Finding:
    """Return the verdict on a bed that holds too much water."""
    if drying is None:
        return Finding(Condition.TOO_WET, Verdict.UNKNOWN, reason=UNKNOWN_REASON)
    limits = window.limits
    # Water comes in hours: a day's mean would lag behind it.
    wet_pct = max(drying.level_pct, drying.present_pct)
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
    return Finding(
        Condition.TOO_WET,
        Verdict.HOLDS if priority else Verdict.CLEAR,
        priority or Priority.LOW,
        certainty_beyond(drying, wet_pct - limits.moisture_high_warn_pct),
        evidence,
    )
