"""Afternoons that are too hot: one alert for a row of them, foreseen, also from probes that send seldom."""

from __future__ import annotations

import math
from functools import lru_cache

from judge.series import START_MS, changes, readings, setup
from underlid.alerts.alert import Transition, TransitionKind
from underlid.judge import Judge
from underlid.rules.finding import Condition, Priority
from underlid.timeline import HOUR_MS

HOT_FROM_H, HOT_UNTIL_H = 150.0, 270.0
EVERY_MIN = 30
RAISED, RETURNED = TransitionKind.ALERT_RAISED, TransitionKind.ALERT_RETURNED


def level_c(hour: float) -> float:
    """Return the day's mean: mild, rising for a day and a half to 25 °C, and as fast down again."""
    rises = min(1.0, max(0.0, (hour - HOT_FROM_H) / 36))
    falls = min(1.0, max(0.0, (hour - HOT_UNTIL_H) / 36))
    return 18.0 + 7.0 * rises - 7.0 * falls


def bin_curve(hour: float) -> dict[str, float]:
    swing = math.sin(2 * math.pi * hour / 24)
    return {
        "bed_temp_c": level_c(hour) + 3.0 * swing,
        "headspace_temp_c": level_c(hour) + 2.9 * swing,
        "headspace_rh_pct": 85.0,
        "soil_raw": 1760.0,
    }


def air_curve(hour: float) -> dict[str, float]:
    # the air leads the bed by some hours
    return {"shed_temp_c": level_c(hour + 3) + 4.0 * math.sin(2 * math.pi * (hour + 3) / 24)}


@lru_cache
def history() -> list[Transition]:
    hours = 348.0
    found = changes(readings(bin_curve, air_curve, hours, EVERY_MIN), hours, [])
    return [one for one in found if one.condition is Condition.OVERHEATING and one.alert]


def test_a_row_of_hot_days_is_one_alert_that_is_foreseen_and_ends() -> None:
    kinds = [one.kind for one in history()]
    assert kinds.count(RAISED) == kinds.count(RETURNED) == 1
    first, last = history()[0].alert, history()[-1].alert
    assert first is not None
    assert first.priority is Priority.LOW
    assert first.forecast_for_ms is not None
    assert last is not None
    assert last.raised_at_ms is not None
    assert last.returned_at_ms is not None
    # four afternoons lie between
    assert last.returned_at_ms - last.raised_at_ms > 72 * HOUR_MS


def test_a_bed_that_was_too_hot_and_will_be_says_how_hot_by_when() -> None:
    judge = Judge(setup(), START_MS)
    judge.add_readings(readings(bin_curve, air_curve, 232.0, EVERY_MIN))
    alert = None
    for hour in range(206, 233):
        judged = judge.judge(START_MS + hour * HOUR_MS)[0]
        found = (one for one in judged.alerts if one.condition is Condition.OVERHEATING)
        alert = next(found, alert)
    assert alert is not None
    assert alert.priority is Priority.MEDIUM
    assert "for now: up to about" in alert.text
    assert "from the room:" in alert.text
    assert "% sure to pass 27.0 °C again" in alert.text
    # 28 °C is the truth; warm weather is taken to pass
    assert 25.0 < float(alert.evidence["peak_temp_c"]) < 28.0
    assert float(alert.evidence["peak_high_c"]) > 27.5
