"""Afternoons that are too hot: one alert for a row of them, foreseen, also from probes that send seldom."""

from __future__ import annotations

from rules.swinging import Swinging
from underlid.alerts.alert import TransitionKind
from underlid.rules.finding import Condition, Priority
from underlid.timeline import HOUR_MS

RAISED, RETURNED = TransitionKind.ALERT_RAISED, TransitionKind.ALERT_RETURNED
HOT = Swinging(Condition.OVERHEATING, 7.0, bed_swing_c=3.0, air_swing_c=4.0, every_min=30)
HOURS = 348.0


def test_a_row_of_hot_days_is_one_alert_that_is_foreseen_and_ends() -> None:
    history = HOT.history(HOURS)
    kinds = [one.kind for one in history]
    assert kinds.count(RAISED) == kinds.count(RETURNED) == 1
    first, last = history[0].alert, history[-1].alert
    assert first is not None
    assert first.priority is Priority.LOW
    assert first.forecast_for_ms is not None
    assert last is not None
    assert last.raised_at_ms is not None
    assert last.returned_at_ms is not None
    # four afternoons lie between
    assert last.returned_at_ms - last.raised_at_ms > 72 * HOUR_MS


def test_a_bed_that_was_too_hot_and_will_be_says_how_hot_by_when() -> None:
    alert = HOT.alert_after(206, 232)
    assert alert.priority is Priority.MEDIUM
    assert "for now: up to about" in alert.text
    assert "from the room:" in alert.text
    assert "% sure to pass 27.0 °C again" in alert.text
    # 28 °C is the truth; warm weather is taken to pass
    assert 25.0 < float(alert.evidence["peak_temp_c"]) < 28.0
    assert float(alert.evidence["peak_high_c"]) > 27.5
