"""What is foreseen: said once it is sure twice, worsens into the real thing, or is withdrawn."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from judge.series import START_MS, changes, entry, readings
from underlid.alerts.ahead import SURELY_NOT_PCT
from underlid.alerts.alert import AlertState, Transition, TransitionKind
from underlid.binmodel.outlook.forecast import Forecast
from underlid.journal.entries import Entry, Feed, Portion
from underlid.rules.finding import Condition, Priority
from underlid.rules.foreseen import Reach, coming, fresh
from underlid.timeline import HOUR_MS

REACHES = (Reach(12, 0.85), Reach(24, 0.9))


def forecast() -> Forecast:
    return Forecast(START_MS, None, None, None, None)


def rising(last: float, hour: int) -> np.ndarray:
    return np.where(np.arange(1, 73) >= hour, last, 0.0)


def test_near_and_sure_is_coming_at_the_hour_at_which_it_is_as_likely_as_not() -> None:
    soon = coming(forecast(), rising(0.9, 7), START_MS, REACHES, held=False)
    assert soon is not None
    assert soon.at_ms == START_MS + 7 * HOUR_MS
    assert soon.chance == 0.9


def test_not_sure_or_not_near_is_not_said_but_is_kept() -> None:
    assert coming(forecast(), rising(0.8, 7), START_MS, REACHES, held=False) is None
    assert coming(forecast(), rising(0.8, 7), START_MS, REACHES, held=True) is not None
    assert coming(forecast(), rising(0.99, 30), START_MS, REACHES, held=True) is None


def test_an_old_forecast_is_not_believed() -> None:
    assert fresh(forecast(), START_MS + 2 * HOUR_MS) is not None
    assert fresh(forecast(), START_MS + 4 * HOUR_MS) is None


def history(
    own_k: Callable[[float], float], entries: list[Entry], hours: float
) -> list[Transition]:
    def bin_curve(hour: float) -> dict[str, float]:
        own = own_k(hour)
        swing = math.sin(2 * math.pi * hour / 24)
        return {
            "bed_temp_c": 21.0 + 0.5 * swing + own,
            "headspace_temp_c": 20.5 + 0.5 * swing + 0.4 * own,
            "headspace_rh_pct": 85.0,
            "soil_raw": 1760.0,
        }

    def air_curve(hour: float) -> dict[str, float]:
        return {"shed_temp_c": 20.5 + 1.5 * math.sin(2 * math.pi * hour / 24)}

    found = changes(readings(bin_curve, air_curve, hours, 10), hours, entries)
    return [one for one in found if one.condition is Condition.OVERHEATING]


def bread(hour: float, mass_g: float = 3500.0) -> Entry:
    return entry(hour, Feed((Portion("bread", mass_g),)))


def test_a_rich_feed_is_foreseen_to_heat_and_the_same_alert_worsens() -> None:
    def own_k(hour: float) -> float:
        since = max(0.0, hour - 144) / 36
        return 11.0 * since * math.exp(1 - since)

    found = history(own_k, [bread(144)], 200)
    first = found[0]
    assert first.kind is TransitionKind.ALERT_RAISED
    assert first.alert is not None
    assert first.alert.priority in (Priority.LOW, Priority.MEDIUM)
    assert first.alert.forecast_for_ms is not None
    assert first.alert.cause == "feed"
    assert "will peak near" in first.alert.text
    came = next(one for one in found if one.alert and one.alert.forecast_for_ms is None)
    assert came.kind is TransitionKind.ALERT_WORSENED
    assert came.alert is not None
    assert came.alert.id == first.alert.id
    assert came.at_ms - first.at_ms >= 3 * HOUR_MS
    assert len([one for one in found if one.kind is TransitionKind.ALERT_RAISED]) == 1


def taken_out(hour: float) -> float:
    """Return the warmth of a feed that is taken out again after eight hours."""
    if hour < 145:
        return 0.0
    return 0.65 * (hour - 145) if hour < 153 else 5.2 * math.exp((153 - hour) / 5)


def test_what_does_not_come_is_withdrawn_once_and_says_so() -> None:
    found = history(taken_out, [bread(144.5, 2500.0)], 200)
    raised, withdrawn = (one for one in found)
    assert raised.kind is TransitionKind.ALERT_RAISED
    assert withdrawn.kind is TransitionKind.ALERT_RETURNED
    assert withdrawn.reason.startswith("not foreseen any more since")
    assert withdrawn.at_ms - START_MS > 155 * HOUR_MS
    last = withdrawn.alert
    assert last is not None
    assert last.state is AlertState.RETURNED
    surely = float(last.evidence["chance_pct"]) <= SURELY_NOT_PCT
    will = "will not" if surely else "will probably not"
    assert f"bed {will} get too warm after all: bed " in last.text


def test_a_chance_that_wavers_withdraws_nothing() -> None:
    wavering = [0.92, 0.5, 0.95, 0.55, 0.48]
    held = [coming(forecast(), rising(one, 7), START_MS, REACHES, held=True) for one in wavering]
    assert all(held)
    assert coming(forecast(), rising(0.4, 7), START_MS, REACHES, held=True) is None


def test_a_calm_bin_is_foreseen_to_stay_calm() -> None:
    assert history(lambda _: 0.0, [], 200) == []
