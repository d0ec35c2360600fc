"""Overheating: the bed against the herd's limits, and whether the feed or the room is the cause."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from typing import Final

import numpy as np

from underlid.binmodel.food.heating_feed import FEED_HEATS_D, heating_feed
from underlid.binmodel.known import Known
from underlid.binmodel.outlook.forecast import Forecast
from underlid.binmodel.outlook.hours import AHEAD_H
from underlid.binmodel.probes.hot import BUCKETS_PER_DAY
from underlid.binmodel.thermal import SELF_HEAT_SD_K, self_heat
from underlid.binmodel.window import BinWindow
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.rules.foreseen import (
    AGAIN_REASON,
    NOT_AGAIN_REASON,
    SAYS_ITSELF,
    Reach,
    chance_left,
    coming,
    fresh,
)
from underlid.rules.levels import level, middle
from underlid.timeline import DAY_MS, HOUR_MS

DEADBAND_K: Final = 0.7

COMFORT_BELOW_WARN_K: Final = 7.0
"""Room heat is counted from here: 20 °C for *E. fetida*, the upper end of its best range."""

REACHES: Final = (Reach(24, 0.75), Reach(72, 0.8))
ALARM_REACHES: Final = (Reach(24, 0.85),)
"""A forecast is told when it is so sure within so many hours: a feed is easily taken out while it is cool.
Medium when the alarm limit is near and sure (our judgement)."""

AGAIN: Final = (Reach(24, 0.2),)
AGAIN_BUCKETS: Final = BUCKETS_PER_DAY
"""A bed that was too warm within a day, and may be so again within the next with one chance in five, is not
well again: hot afternoons come in rows, and a feed heats for days (as of cold nights, `too_cold.py`)."""

OWN_SHARE: Final = 0.5
"""Self-heat below half the room's heat is not what the keeper should act on (our judgement)."""


def evaluate(window: BinWindow, known: Known, open_priority: Priority | None) -> Finding:
    """Return the verdict on the bed's heat."""
    values = window.hottest_recent()
    if not values:
        reason = "not enough bed temperature in the last half hour"
        return Finding(Condition.OVERHEATING, Verdict.UNKNOWN, reason=reason)
    bed = middle(values[-3:])
    limits = window.limits
    steps = {
        Priority.MEDIUM: limits.hot_warn_c,
        Priority.HIGH: limits.hot_alarm_c,
        Priority.CRITICAL: limits.hot_critical_c,
    }
    reached = [(limit_c, step) for step, limit_c in steps.items()]
    priority = level(bed, reached, open_priority, DEADBAND_K)
    limit_c = steps[priority or Priority.MEDIUM]
    evidence: dict[str, float | str] = {"bed_temp_c": round(bed, 2), "limit_c": limit_c}
    forecast = fresh(known.forecast, window.now_ms)
    if priority is None:
        came = open_priority is not None and open_priority is not Priority.LOW
        again = _foreseen_again(window, forecast, evidence) if came else None
        found = again or _foreseen(window, forecast, evidence, held=open_priority is not None)
        denied = came and found.verdict is Verdict.CLEAR and forecast is not None
        return replace(found, reason=NOT_AGAIN_REASON) if denied else found
    if forecast is not None and forecast.bed_temp_c is not None:
        _peak(forecast, window.now_ms, bed + DEADBAND_K, evidence)
    cause, certainty, feed_at_ms = _cause(window, bed, evidence)
    return Finding(
        Condition.OVERHEATING,
        Verdict.HOLDS,
        priority,
        certainty,
        evidence,
        cause=cause,
        feed_at_ms=feed_at_ms,
    )


def _foreseen_again(
    window: BinWindow, forecast: Forecast | None, evidence: dict[str, float | str]
) -> Finding | None:
    """Return that a bed which was too warm will be again; None when it was not, or hardly will."""
    if forecast is None or forecast.bed_temp_c is None:
        return None
    limit_c, now_ms = window.limits.hot_warn_c, window.now_ms
    soon = coming(forecast, forecast.hot_chance.get(limit_c), now_ms, AGAIN, held=False)
    if soon is None or not np.fmax.reduce(window.hottest(AGAIN_BUCKETS)) >= limit_c:
        return None
    said = {**evidence, "chance_pct": round(100.0 * soon.chance)}
    _peak(forecast, now_ms, -inf, said, AGAIN[0].hours)
    cause, feed_at_ms = _cause_ahead(window, forecast)
    return Finding(
        Condition.OVERHEATING,
        Verdict.HOLDS,
        Priority.MEDIUM,
        round(max(soon.chance, SAYS_ITSELF), 2),
        said,
        cause=cause,
        reason=AGAIN_REASON,
        forecast_for_ms=soon.at_ms,
        feed_at_ms=feed_at_ms,
    )


def _foreseen(
    window: BinWindow, forecast: Forecast | None, evidence: dict[str, float | str], *, held: bool
) -> Finding:
    """Return whether the bed, which is not too warm, will be."""
    clear = Finding(Condition.OVERHEATING, Verdict.CLEAR, evidence=evidence)
    if forecast is None or forecast.bed_temp_c is None:
        return clear
    limits, now_ms = window.limits, window.now_ms
    chances = forecast.hot_chance
    warn_chances = chances.get(limits.hot_warn_c)
    soon = coming(forecast, warn_chances, now_ms, REACHES, held=held)
    if soon is None:
        if held:
            evidence |= chance_left(forecast, warn_chances, now_ms, REACHES)
            _peak(forecast, now_ms, -inf, evidence)
        return clear
    alarm = coming(forecast, chances.get(limits.hot_alarm_c), now_ms, ALARM_REACHES, held=False)
    evidence["chance_pct"] = round(100.0 * soon.chance)
    _peak(forecast, now_ms, -inf, evidence)
    cause, feed_at_ms = _cause_ahead(window, forecast)
    return Finding(
        Condition.OVERHEATING,
        Verdict.HOLDS,
        Priority.LOW if alarm is None else Priority.MEDIUM,
        round(soon.chance, 2),
        evidence,
        cause=cause,
        forecast_for_ms=soon.at_ms,
        feed_at_ms=feed_at_ms,
    )


def _peak(
    forecast: Forecast,
    now_ms: int,
    above_c: float,
    evidence: dict[str, float | str],
    hours: int = AHEAD_H,
) -> None:
    """Note the peak of the next *hours*, if it is above *above_c*."""
    course = forecast.bed_temp_c
    assert course is not None
    passed = forecast.passed_h(now_ms)
    hour = passed + int(np.argmax(course.middle[passed : passed + hours]))
    if course.middle[hour] <= above_c:
        return
    evidence["peak_temp_c"] = round(float(course.middle[hour]), 1)
    evidence["peak_low_c"] = round(float(course.low[hour]), 1)
    evidence["peak_high_c"] = round(float(course.high[hour]), 1)
    evidence["peak_in_h"] = round((forecast.at_ms - now_ms) / HOUR_MS + hour + 1, 1)


def _cause_ahead(window: BinWindow, forecast: Forecast) -> tuple[str, int | None]:
    """Return feed or room for a peak that is ahead, and the feed."""
    course, own = forecast.bed_temp_c, forecast.own_heat_k
    if course is None or own is None or window.last_feed(FEED_HEATS_D * DAY_MS) is None:
        return "room", None
    passed = forecast.passed_h(window.now_ms)
    hour = passed + int(np.argmax(course.middle[passed:]))
    bed_c, own_k = float(course.middle[hour]), float(own[hour])
    if not _is_feed(window, own_k, bed_c - own_k):
        return "room", None
    feed = heating_feed(window, bed_c, own_k)
    return "feed", feed[0].at_ms if feed else None


def _is_feed(window: BinWindow, own_k: float, room_part_c: float) -> bool:
    """Tell whether the bed would be below the limit without its own warmth, and that weighs."""
    room_k = max(0.0, room_part_c - (window.limits.hot_warn_c - COMFORT_BELOW_WARN_K))
    weighs = own_k > max(SELF_HEAT_SD_K, OWN_SHARE * room_k)
    return room_part_c < window.limits.hot_warn_c and weighs


def _cause(
    window: BinWindow, bed_c: float, evidence: dict[str, float | str]
) -> tuple[str, float, int | None]:
    """Return feed or room, how sure that is, and the feed it is put down to, if one can make it.

    The feed is the cause when the bed would be below the limit without its own warmth, and that warmth
    weighs against what the room brings. Without shed air only a recent feed can speak.
    """
    own = self_heat(window)
    feed = heating_feed(window, bed_c, None if own is None else own.self_heat_k)
    if own is None:
        return ("feed", 0.5, feed[0].at_ms) if feed else ("room", 0.4, None)
    evidence["self_heat_k"] = round(own.self_heat_k, 2)
    evidence["without_self_heat_c"] = round(own.room_part_c, 2)
    evidence["bed_rate_k_h"] = round(own.rate_k_h, 3)
    excess_k = window.limits.hot_warn_c - own.room_part_c
    certainty = float(np.clip(0.5 + abs(excess_k) / (4.0 * SELF_HEAT_SD_K), 0.5, 0.95))
    if _is_feed(window, own.self_heat_k, own.room_part_c):
        return "feed", certainty, feed[0].at_ms if feed else None
    return "room", certainty, None
