"""Too cold: the bed against the herd's lower limits, now, ahead, and again in the nights that follow."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from typing import Final

import numpy as np

from underlid.binmodel.known import Known
from underlid.binmodel.outlook.forecast import Forecast
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
from underlid.timeline import HOUR_MS

DEADBAND_K: Final = 0.7

REACHES: Final = (Reach(24, 0.7), Reach(72, 0.8))
"""A forecast is told when it is so sure within so many hours: to insulate a bin for nothing costs little
(our judgement)."""

AGAIN: Final = (Reach(24, 0.2),)
"""A bed that was too cold and may be so again within a day, with one chance in five, is not well again:
cold nights come in rows, and the keeper is told of the row, not of each (our judgement)."""


def evaluate(window: BinWindow, known: Known, open_priority: Priority | None) -> Finding:
    """Return the verdict on the bed's cold."""
    values = window.recent("bed_temp_c")
    if not values:
        reason = "not enough bed temperature in the last half hour"
        return Finding(Condition.TOO_COLD, Verdict.UNKNOWN, reason=reason)
    bed = middle(values[-3:])
    limits = window.limits
    priority = level(
        -bed,
        ((-limits.cold_warn_c, Priority.MEDIUM), (-limits.cold_alarm_c, Priority.HIGH)),
        open_priority,
        DEADBAND_K,
    )
    limit_c = limits.cold_alarm_c if priority is Priority.HIGH else limits.cold_warn_c
    evidence: dict[str, float | str] = {"bed_temp_c": round(bed, 2), "limit_c": limit_c}
    forecast = fresh(known.forecast, window.now_ms)
    if priority is None:
        return _foreseen(window, forecast, evidence, open_priority)
    if forecast is not None:
        _coldest(forecast, window.now_ms, AGAIN[0].hours, bed - DEADBAND_K, evidence)
    return Finding(Condition.TOO_COLD, Verdict.HOLDS, priority, 0.95, evidence)


def _foreseen(
    window: BinWindow,
    forecast: Forecast | None,
    evidence: dict[str, float | str],
    open_priority: Priority | None,
) -> Finding:
    """Return whether the bed, which is not too cold, will be, or will be again.

    An alert that only foresees is low; one that has come goes on as medium between the nights.
    """
    clear = Finding(Condition.TOO_COLD, Verdict.CLEAR, evidence=evidence)
    if forecast is None or forecast.bed_temp_c is None:
        return clear
    now_ms, chances = window.now_ms, forecast.cold_chance.get(window.limits.cold_warn_c)
    came = open_priority is not None and open_priority is not Priority.LOW
    held = open_priority is Priority.LOW
    reaches = AGAIN if came else REACHES
    soon = coming(forecast, chances, now_ms, reaches, held=held)
    hours = AGAIN[0].hours
    if soon is not None and soon.at_ms > now_ms + hours * HOUR_MS:
        hours = REACHES[-1].hours
    if soon is not None or open_priority is not None:
        _coldest(forecast, now_ms, hours, inf, evidence)
    if soon is None:
        if held:
            evidence |= chance_left(forecast, chances, now_ms, reaches)
        return replace(clear, reason=NOT_AGAIN_REASON) if came else clear
    evidence["chance_pct"] = round(100.0 * soon.chance)
    return Finding(
        Condition.TOO_COLD,
        Verdict.HOLDS,
        Priority.MEDIUM if came else Priority.LOW,
        round(max(soon.chance, SAYS_ITSELF) if came else soon.chance, 2),
        evidence,
        reason=AGAIN_REASON if came else "",
        forecast_for_ms=soon.at_ms,
    )


def _coldest(
    forecast: Forecast, now_ms: int, hours: int, below_c: float, evidence: dict[str, float | str]
) -> None:
    """Note the coldest hour within *hours*, if it is below *below_c*."""
    course = forecast.bed_temp_c
    if course is None:
        return
    passed = forecast.passed_h(now_ms)
    hour = passed + int(np.argmin(course.middle[passed : passed + hours]))
    if course.middle[hour] >= below_c:
        return
    evidence["coldest_temp_c"] = round(float(course.middle[hour]), 1)
    evidence["coldest_low_c"] = round(float(course.low[hour]), 1)
    evidence["coldest_high_c"] = round(float(course.high[hour]), 1)
    evidence["coldest_in_h"] = round((forecast.at_ms - now_ms) / HOUR_MS + hour + 1, 1)
