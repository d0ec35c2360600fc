"""Too cold: the bed against the herd's lower limits."""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.window import FRESH_BUCKETS, BinWindow
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.rules.levels import level, middle

DEADBAND_K: Final = 0.7


def evaluate(window: BinWindow, open_priority: Priority | None) -> Finding:
    """Return the verdict on the bed's cold."""
    recent = window.means("bed_temp_c", FRESH_BUCKETS)
    known = recent[~np.isnan(recent)]
    if not len(known):
        reason = "no bed temperature for half an hour"
        return Finding(Condition.TOO_COLD, Verdict.UNKNOWN, reason=reason)
    bed = middle(known[-3:].tolist())
    limits = window.limits
    priority = level(
        -bed,
        ((-limits.cold_warn_c, Priority.MEDIUM), (-limits.cold_alarm_c, Priority.HIGH)),
        open_priority,
        DEADBAND_K,
    )
    limit_c = limits.cold_alarm_c if priority is Priority.HIGH else limits.cold_warn_c
    return Finding(
        Condition.TOO_COLD,
        Verdict.HOLDS if priority else Verdict.CLEAR,
        priority or Priority.LOW,
        0.95,
        {"bed_temp_c": round(bed, 2), "limit_c": limit_c},
    )
