"""Nights that are too cold: told once for a row of them, foreseen, and over when the nights stay warm."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from rules.swinging import Swinging
from underlid.alerts.alert import TransitionKind
from underlid.rules.finding import Condition, Priority
from underlid.timeline import HOUR_MS, MINUTE_MS

RAISED, WORSENED, RETURNED = (
    TransitionKind.ALERT_RAISED,
    TransitionKind.ALERT_WORSENED,
    TransitionKind.ALERT_RETURNED,
)
COLD = Swinging(Condition.TOO_COLD, -7.0, bed_swing_c=2.5, air_swing_c=3.5, every_min=10)
HOURS = 360.0


@dataclass(frozen=True)
class AlwaysCold(Swinging):
    """Days that are cold from the first on."""

    def level_c(self, hour: float) -> float:
        return 11.0


ALWAYS_COLD = AlwaysCold(Condition.TOO_COLD, 0.0, bed_swing_c=2.5, air_swing_c=3.5, every_min=10)


def test_a_row_of_cold_nights_is_one_alert_and_it_ends_when_the_nights_stay_warm() -> None:
    history = COLD.history(HOURS)
    kinds = [one.kind for one in history]
    assert kinds.count(RAISED) == kinds.count(RETURNED) == 1
    assert kinds[-1] is RETURNED
    last = history[-1].alert
    assert last is not None
    assert last.raised_at_ms is not None
    assert last.returned_at_ms is not None
    # five nights lie between
    assert last.returned_at_ms - last.raised_at_ms > 96 * HOUR_MS
    # two forecasts in a row said that it is over
    since_ms = datetime.fromisoformat(history[-1].reason.split()[-1]).timestamp() * 1000
    assert last.returned_at_ms - since_ms >= 70 * MINUTE_MS


def test_the_first_night_is_foreseen_and_the_same_alert_worsens() -> None:
    first, second = COLD.history(HOURS)[:2]
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
    alert = ALWAYS_COLD.alert_after(90, 102)
    assert alert.priority is Priority.MEDIUM
    assert "for now: down to about" in alert.text
    assert "% sure to go below 10.0 °C again" in alert.text
    # 8.5 °C is the truth; four days have taught most of the daily swing
    assert 8.0 < float(alert.evidence["coldest_temp_c"]) < 10.0
