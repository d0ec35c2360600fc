"""Hungry: the last feed is used up, three chances in five or more, and nothing has been fed since.

How likely that is, and when, is in `binmodel/food/`. Worms also live on bedding, so a herd without food is
late, not in danger: low, and medium when days overdue or when worms climb. It never speaks to a keeper who
writes no feeds down.
"""

from __future__ import annotations

from typing import Final

from underlid.binmodel.food.uneaten import LEAST_ACTIVITY, Food
from underlid.binmodel.food.used_up import GONE_SHARE
from underlid.binmodel.thermal import self_heat
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Climbers, Sighting
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.timeline import DAY_MS, HOUR_MS, rfc3339

OVERDUE_MS: Final = 3 * DAY_MS
"""A herd lives on bedding for some days; after so many it is medium (our judgement)."""

SEEN_MS: Final = 3 * DAY_MS
"""Who has seen the food gone knows it, and is reminded no sooner (our judgement)."""

AHEAD_MS: Final = 2 * DAY_MS
LATE_MS: Final = DAY_MS
HABIT_UNKNOWN_DAYS: Final = 7.0
"""Foreseen so far ahead, and only when the keeper is this late by the own habit (a week until two
feeds show one): who feeds every Saturday is not told on Thursday (our judgement)."""

STILL_WARM_K: Final = 1.5
"""A bed that warms itself by so much still has food in it (our judgement)."""

CLIMBERS_MS: Final = 3 * DAY_MS

USED_UP: Final = ("used_up_at", "used_up_soonest_at", "used_up_latest_at")

CERTAIN_WHEN_SEEN: Final = 0.9
SUREST: Final = 0.95
"""Nobody dug the whole bed over (our judgement)."""

TELLS: Final = 0.6
"""A herd without food is in no danger, so it is told when it is likelier than even (our judgement) …"""

EVEN: Final = 0.5
"""… and stays told from there on. What is foreseen is foreseen for the middle of its band."""


def evaluate(window: BinWindow, food: Food | None, open_priority: Priority | None) -> Finding:
    """Return the verdict on the herd's food."""
    if food is None:
        reason = "no feed is written down in the last two weeks, or no bed temperature is known"
        return Finding(Condition.HUNGRY, Verdict.UNKNOWN, reason=reason)
    evidence = _evidence(window, food)
    hungry_ms = _hungry_from_ms(food)
    if hungry_ms is None or food.activity < LEAST_ACTIVITY:
        reason = "at this temperature the herd hardly eats"
        return Finding(Condition.HUNGRY, Verdict.CLEAR, evidence=evidence, reason=reason)
    ahead_ms = hungry_ms - window.now_ms
    foreseen = ahead_ms > 0
    if foreseen and not _worth_foreseeing(window, food, ahead_ms, open_priority):
        return Finding(Condition.HUNGRY, Verdict.CLEAR, evidence=evidence)
    seen = food.seen_used_up_ms is not None
    if not (seen or foreseen or open_priority or food.used_up_chance >= TELLS):
        return Finding(Condition.HUNGRY, Verdict.CLEAR, evidence=evidence)
    own = None if seen else self_heat(window)
    if own is not None and own.self_heat_k >= STILL_WARM_K:
        reason = "the bed still warms itself, so food is left"
        return Finding(Condition.HUNGRY, Verdict.CLEAR, evidence=evidence, reason=reason)
    climbing = evidence.get("climbers", Climbers.NONE) != Climbers.NONE
    since_ms = max(hungry_ms, food.seen_used_up_ms or hungry_ms)
    late = window.now_ms - since_ms >= OVERDUE_MS or (climbing and not foreseen)
    return Finding(
        Condition.HUNGRY,
        Verdict.HOLDS,
        Priority.MEDIUM if late else Priority.LOW,
        _certainty(food, foreseen=foreseen),
        evidence,
        cause="climbers" if climbing else "",
        reason="seen used up" if seen else "used up by time and warmth",
        forecast_for_ms=hungry_ms if foreseen else None,
        feed_at_ms=food.fed_at_ms,
    )


def _hungry_from_ms(food: Food) -> int | None:
    """Return from when a herd is likelier hungry than not, or sooner by what was seen."""
    if food.used_up_ms is None or food.seen_used_up_ms is None:
        return food.used_up_ms
    return min(food.used_up_ms, max(food.seen_used_up_ms + SEEN_MS, _habit_over_ms(food)))


def _certainty(food: Food, *, foreseen: bool) -> float:
    if food.seen_used_up_ms is not None:
        return CERTAIN_WHEN_SEEN
    return EVEN if foreseen else round(min(SUREST, food.used_up_chance), 2)


def _habit_over_ms(food: Food) -> int:
    """Return when this keeper is late by the own habit."""
    usual_days = HABIT_UNKNOWN_DAYS if food.usual_days is None else food.usual_days
    return food.fed_at_ms + round(usual_days * DAY_MS) + LATE_MS


def _worth_foreseeing(
    window: BinWindow, food: Food, ahead_ms: int, open_priority: Priority | None
) -> bool:
    if food.seen_used_up_ms is not None:
        return False
    reach_ms = AHEAD_MS + (LATE_MS if open_priority else 0)
    return ahead_ms <= reach_ms and window.now_ms >= _habit_over_ms(food)


def _evidence(window: BinWindow, food: Food) -> dict[str, float | str]:
    evidence: dict[str, float | str] = {
        "fed_g": round(food.fed_g, 1),
        "fed_days_ago": round((window.now_ms - food.fed_at_ms) / DAY_MS, 1),
        "eaten_g_d": round(food.eaten_g_d),
    }
    if food.left_g > GONE_SHARE * food.fed_g:
        evidence["uneaten_g"] = round(food.left_g)
        evidence["uneaten_most_g"] = round(food.left_most_g)
    if food.seen_used_up_ms is not None:
        evidence["used_up_at"] = rfc3339(food.seen_used_up_ms)
    else:
        evidence["chance_pct"] = round(100.0 * min(SUREST, food.used_up_chance))
        dates = (food.used_up_ms, *food.used_up_band_ms)
        for name, date_ms in zip(USED_UP, dates, strict=True):
            if date_ms is not None:
                evidence[name] = rfc3339(date_ms // HOUR_MS * HOUR_MS)  # nobody knows it finer
    climbers = climbers_seen(window, food.fed_at_ms)
    if climbers is not None:
        evidence["climbers"] = climbers.value
    return evidence


def climbers_seen(window: BinWindow, since_ms: int) -> Climbers | None:
    """Return what was last written of climbers, not before *since_ms* and not days ago."""
    since_ms = max(since_ms, window.now_ms - CLIMBERS_MS)
    for entry in reversed(window.entries):
        if entry.at_ms < since_ms:
            return None
        if isinstance(entry.what, Sighting) and entry.what.climbers is not None:
            return entry.what.climbers
    return None
