"""Nights that are too cold: told once for a row of them, foreseen, and over when the nights stay warm."""

from __future__ import annotations

import math
from datetime import datetime
from functools import lru_cache

from judge.series import START_MS, changes, readings, setup
from underlid.alerts.alert import Transition, TransitionKind
from underlid.judge import Judge
from underlid.rules.finding import Condition, Priority

COLD_FROM_H = 150.0
COLD_UNTIL_H = 270.0
RAISED, WORSENED, RETURNED = (
    TransitionKind.ALERT_RAISED,
    TransitionKind.ALERT_WORSENED,
    TransitionKind.ALERT_RETURNED,
)


def level_c(hour: float) -> float:
    """Return the day's mean: mild, falling for a day and a half to 11 °C, and as fast up again."""
    falls = min(1.0, max(0.0, (hour - COLD_FROM_H) / 36))
    rises = min(1.0, max(0.0, (hour - COLD_UNTIL_H) / 36))
    return 18.0 - 7.0 * falls + 7.0 * rises


def bin_curve(hour: float) -> dict[str, float]:
    swing = math.sin(2 * math.pi * hour / 24)
    return {
        "bed_temp_c": level_c(hour) + 2.5 * swing,
        "headspace_temp_c": level_c(hour) + 2.4 * swing,
        "headspace_rh_pct": 85.0,
        "soil_raw": 1760.0,
    }


def air_curve(hour: float) -> dict[str, float]:
    # the air leads the bed by some hours
    return {"shed_temp_c": level_c(hour + 3) + 3.5 * math.sin(2 * math.pi * (hour + 3) / 24)}


@lru_cache
def history() -> list[Transition]:
    hours = 360.0
    found = changes(readings(bin_curve, air_curve, hours, 10), hours, [])
    return [one for one in found if one.condition is Condition.TOO_COLD and one.alert]


def test_a_row_of_cold_nights_is_one_alert_and_it_ends_when_the_nights_stay_warm() -> None:
    kinds = [one.kind for one in history()]
    assert kinds.count(RAISED) == kinds.count(RETURNED) == 1
    assert kinds[-1] is RETURNED
    last = history()[-1].alert
    assert last is not None
    assert last.raised_at_ms is not None
    assert last.returned_at_ms is not None
    # five nights lie between
    assert last.returned_at_ms - last.raised_at_ms > 96 * 3_600_000
    # two forecasts in a row said that it is over
    since_ms = datetime.fromisoformat(history()[-1].reason.split()[-1]).timestamp() * 1000
    assert last.returned_at_ms - since_ms >= 70 * 60_000


def test_the_first_night_is_foreseen_and_the_same_alert_worsens() -> None:
    first, second = history()[:2]
    assert first.kind is RAISED
    assert first.alert is not None
    assert first.alert.priority is Priority.LOW
    assert first.alert.forecast_for_ms is not None
    assert "will fall to about" in first.alert.text
    assert "sure to go below 10.0 °C" in first.alert.text
    assert second.kind is WORSENED
    assert second.alert is not None
    assert second.alert.priority is Priority.MEDIUM
    assert second.alert.id == first.alert.id


def test_a_bed_that_was_too_cold_and_will_be_says_how_cold_by_when() -> None:
    def cold(hour: float) -> dict[str, float]:
        return bin_curve(hour) | {"bed_temp_c": 11.0 + 2.5 * math.sin(2 * math.pi * hour / 24)}

    def shed(hour: float) -> dict[str, float]:
        return {"shed_temp_c": 11.0 + 3.5 * math.sin(2 * math.pi * (hour + 3) / 24)}

    judge = Judge(setup(), START_MS)
    judge.add_readings(readings(cold, shed, 102.0, 10))
    alert = None
    for hour in range(90, 103):
        judged = judge.judge(START_MS + hour * 3_600_000)[0]
        alert = next((one for one in judged.alerts if one.condition is Condition.TOO_COLD), alert)
    assert alert is not None
    assert alert.priority is Priority.MEDIUM
    assert "for now: down to about" in alert.text
    assert "% sure to go below 10.0 °C again" in alert.text
    # 8.5 °C is the truth; four days have taught most of the daily swing
    assert 8.0 < float(alert.evidence["coldest_temp_c"]) < 10.0
