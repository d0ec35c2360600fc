"""Overheating: the bed against the herd's limits, and whether the feed or the room is the cause."""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.known import Known
from underlid.binmodel.thermal import SELF_HEAT_SD_K, self_heat
from underlid.binmodel.window import FRESH_BUCKETS, BinWindow
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.rules.levels import level, middle
from underlid.timeline import HOUR_MS

DEADBAND_K: Final = 0.7

FEED_HEATS_H: Final = 7 * 24
"""A feed's heat is over after a week (feed pools of the science page); then it is not the cause."""

COMFORT_BELOW_WARN_K: Final = 7.0
"""Room heat is counted from here: 20 °C for *E. fetida*, the upper end of its best range."""

OWN_SHARE: Final = 0.5
"""Self-heat below half the room's heat is not what the keeper should act on (our judgement)."""


def evaluate(window: BinWindow, known: Known, open_priority: Priority | None) -> Finding:
    """Return the verdict on the bed's heat."""
    recent = window.hottest(FRESH_BUCKETS)
    values = recent[~np.isnan(recent)]
    if not len(values):
        reason = "no bed temperature for half an hour"
        return Finding(Condition.OVERHEATING, Verdict.UNKNOWN, reason=reason)
    bed = middle(values[-3:].tolist())
    limits = window.limits
    priority = level(
        bed,
        (
            (limits.hot_warn_c, Priority.MEDIUM),
            (limits.hot_alarm_c, Priority.HIGH),
            (limits.hot_critical_c, Priority.CRITICAL),
        ),
        open_priority,
        DEADBAND_K,
    )
    evidence: dict[str, float | str] = {"bed_temp_c": round(bed, 2), "limit_c": limits.hot_warn_c}
    if priority is None:
        return Finding(Condition.OVERHEATING, Verdict.CLEAR, evidence=evidence)
    cause, certainty, feed_at_ms = _cause(window, evidence)
    return Finding(
        Condition.OVERHEATING,
        Verdict.HOLDS,
        priority,
        certainty,
        evidence,
        cause=cause,
        feed_at_ms=feed_at_ms,
    )


def _cause(window: BinWindow, evidence: dict[str, float | str]) -> tuple[str, float, int | None]:
    """Return feed or room, how sure that is, and the feed it is put down to.

    The feed is the cause when the bed would be below the limit without its own warmth, and that warmth
    weighs against what the room brings. Without shed air only a recent feed can speak.
    """
    own = self_heat(window)
    feed = window.last_feed(FEED_HEATS_H * HOUR_MS)
    if own is None:
        return ("feed", 0.5, feed[0].at_ms) if feed else ("room", 0.4, None)
    evidence["self_heat_k"] = round(own.self_heat_k, 2)
    evidence["without_self_heat_c"] = round(own.room_part_c, 2)
    evidence["bed_rate_k_h"] = round(own.rate_k_h, 3)
    excess_k = window.limits.hot_warn_c - own.room_part_c
    certainty = float(np.clip(0.5 + abs(excess_k) / (4.0 * SELF_HEAT_SD_K), 0.5, 0.95))
    room_k = max(0.0, own.room_part_c - (window.limits.hot_warn_c - COMFORT_BELOW_WARN_K))
    weighs = own.self_heat_k > max(SELF_HEAT_SD_K, OWN_SHARE * room_k)
    if excess_k > 0.0 and weighs:
        return "feed", certainty, feed[0].at_ms if feed else None
    return "room", certainty, None
