"""Each condition is raised by the pattern that deserves it, with its cause and its amount."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from judge import series
from judge.series import START_MS, changes, entry, melon, readings, run, setup
from underlid.alerts.alert import AlertState, Transition, TransitionKind
from underlid.binmodel.bins import Species
from underlid.journal.entries import Feed, LidLook, LiquidAdded, Portion, Sighting
from underlid.judge import Judge
from underlid.rules.finding import Condition, Priority, Verdict
from underlid.timeline import DAY_MS, HOUR_MS

RAISED = TransitionKind.ALERT_RAISED


def calm(_hour: float) -> dict[str, float]:
    return {
        "bed_temp_c": 20.0,
        "headspace_temp_c": 19.5,
        "headspace_rh_pct": 88.0,
        "soil_raw": 1760.0,
    }


def air(_hour: float) -> dict[str, float]:
    return {"shed_temp_c": 19.0}


def raised(found: list[Transition], condition: Condition) -> list[Transition]:
    return [
        one
        for one in found
        if one.kind is TransitionKind.ALERT_RAISED and one.condition is condition
    ]


def test_a_quiet_bin_raises_nothing_in_four_weeks() -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        wave = math.sin(2 * math.pi * hour / 24)
        return {
            "bed_temp_c": 20 + 1.5 * wave,
            "headspace_temp_c": 19.5 + 2 * wave,
            "headspace_rh_pct": 90 - 3 * wave,
            "soil_raw": 1760 + 12 * wave,
        }

    def air_curve(hour: float) -> dict[str, float]:
        return {"shed_temp_c": 19 + 3 * math.sin(2 * math.pi * hour / 24)}

    assert changes(readings(bin_curve, air_curve, 28 * 24, 10), 28 * 24) == []


def test_a_big_wet_feed_wets_the_lid_and_the_alert_names_it_with_grams_of_bedding() -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        wet = 1.0 if hour >= 6 else 0.0
        return {
            "bed_temp_c": 20.0 + 4 * wet,
            "headspace_temp_c": 19.5 + 3.5 * wet,
            "headspace_rh_pct": 88.0 + 10.5 * wet,
            "soil_raw": 1760.0,
        }

    found = changes(readings(bin_curve, air, 120), 120, [melon(5)])
    first = raised(found, Condition.CONDENSATION)[0].alert
    assert first is not None
    assert first.grade == "lid_estimate"
    assert first.feed_at_ms == melon(5).at_ms
    assert "melon" in first.text
    amount_g = first.advice[0].amount_g
    assert amount_g is not None
    assert 440 <= amount_g <= 560
    assert "shredded newspaper" in first.text
    worse = [one for one in found if one.kind is TransitionKind.ALERT_WORSENED]
    assert [one.alert.priority for one in worse if one.alert][-1] is Priority.HIGH
    begun = [one for one in found if one.kind is TransitionKind.SPELL_BEGAN]
    assert [one.condition for one in begun] == [Condition.CONDENSATION]


def test_a_hot_shed_overheats_with_cause_room() -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        return calm(hour) | {"bed_temp_c": 20 + min(hour, 24) / 24 * 10.5}

    def air_curve(hour: float) -> dict[str, float]:
        return {"shed_temp_c": 19 + min(hour, 20) / 20 * 12}

    found = raised(changes(readings(bin_curve, air_curve, 48), 48), Condition.OVERHEATING)
    assert [one.alert.cause for one in found if one.alert] == ["room"]


def test_a_hot_feed_overheats_with_cause_feed_then_worsens_then_returns() -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        own = 13 * math.exp(-(((hour - 40) / 14) ** 2))
        return calm(hour) | {"bed_temp_c": 19.5 + own}

    bread = entry(6, Feed((Portion("bread", 900.0),)))
    found = changes(readings(bin_curve, air, 96), 96, [bread])
    hot = [one for one in found if one.condition is Condition.OVERHEATING and one.alert]
    assert [one.kind for one in hot] == [
        TransitionKind.ALERT_RAISED,
        TransitionKind.ALERT_WORSENED,
        TransitionKind.ALERT_WORSENED,
        TransitionKind.ALERT_RETURNED,
    ]
    assert hot[0].alert is not None
    assert hot[0].alert.cause == "feed"
    assert {one.act for one in hot[0].alert.advice} == {"spread-feed", "hold-feeding"}


def test_a_slow_decline_says_when_it_will_be_too_dry_and_how_much_water() -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        wiggle = 10 * math.sin(2 * math.pi * hour / 24)
        moisture = 72 - 0.5 * hour / 24
        index = 0.40 + (moisture - 62) / 16 * 0.22
        return calm(hour) | {"soil_raw": 2750 - 1600 * index + wiggle}

    found = raised(changes(readings(bin_curve, air, 300, 10), 300), Condition.DRYING_OUT)
    first = found[0].alert
    assert first is not None
    assert first.priority is Priority.LOW
    truth_ms = START_MS + round((72 - 65) / 0.5 * 24) * HOUR_MS
    left_ms = truth_ms - found[0].at_ms
    assert first.forecast_for_ms == pytest.approx(truth_ms, abs=0.2 * left_ms)
    assert first.advice[0].amount_ml is not None
    # Science page, section 5. 22 kg were set up at 72 %; what is lost by now lacks, and a day's loss
    # evaporates on each of the five days on which 75 mL per kg of bed are given.
    wet = (72 - 0.5 * (found[0].at_ms - START_MS) / DAY_MS) / 100
    dry_g = 22_000 * 0.28
    lacks_ml, loss_ml_d = dry_g * (3 - wet / (1 - wet)), dry_g * 0.005 / (1 - wet) ** 2
    assert first.advice[0].amount_ml == pytest.approx(lacks_ml + 5 * loss_ml_d, rel=0.05)


def test_wet_cold_and_silence_are_told() -> None:
    def bin_curve(hour: float) -> dict[str, float] | None:
        if hour >= 60:
            return None
        return calm(hour) | {"bed_temp_c": 8.0, "soil_raw": 1450.0}

    found = changes(readings(bin_curve, air, 72), 72)
    assert raised(found, Condition.TOO_WET)
    assert raised(found, Condition.TOO_COLD)
    silent = raised(found, Condition.PROBE_FAULT)
    assert [one.alert.cause for one in silent if one.alert] == ["silent"]
    assert not [one for one in found if one.kind is TransitionKind.ALERT_RETURNED]


@pytest.mark.parametrize("value", [85.0, -127.0, 300.0])
def test_what_no_sensor_says_raises_no_bin_alert_but_a_probe_fault(value: float) -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        return calm(hour) | ({"bed_temp_c": value} if hour >= 5 else {})

    found = changes(readings(bin_curve, air, 12), 12)
    assert {one.condition for one in found} == {Condition.PROBE_FAULT}


def test_missing_data_is_unknown_and_neither_raises_nor_clears() -> None:
    def bin_curve(hour: float) -> dict[str, float] | None:
        return calm(hour) | {"bed_temp_c": 31.0} if hour < 10 else None

    judge = Judge(setup(), START_MS)
    seen = list(run(judge, readings(bin_curve, air, 40), 40))
    last = {one.condition: one for one in seen[-1].findings if not one.subject}
    assert last[Condition.OVERHEATING].verdict is Verdict.UNKNOWN
    still = [one for one in seen[-1].alerts if one.condition is Condition.OVERHEATING]
    assert [one.state for one in still] == [AlertState.ACTIVE]


def test_a_keepers_look_at_the_lid_sets_the_film_right() -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        return calm(hour) | {"bed_temp_c": 23.0, "headspace_temp_c": 22.5, "headspace_rh_pct": 98.0}

    dry = entry(30, Sighting(lid=LidLook.DRY))
    judge = Judge(setup(), START_MS)
    judge.set_entries("tansy", [dry])
    for _ in run(judge, readings(bin_curve, air, 31), 30.2):
        pass
    state = judge.state("tansy")
    assert state is not None
    assert state["film_band"] in ("dry", "mist")


def test_a_worm_that_likes_it_cooler_has_tighter_limits() -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        return calm(hour) | {"bed_temp_c": 26.0}

    def air_curve(_hour: float) -> dict[str, float]:
        return {"shed_temp_c": 26.0}

    made = readings(bin_curve, air_curve, 3)
    assert not raised(changes(made, 3), Condition.OVERHEATING)
    mixed = setup(species=(Species.EISENIA_FETIDA, Species.EISENIA_HORTENSIS))
    assert raised(changes(made, 3, place=mixed), Condition.OVERHEATING)


def test_a_shelved_alert_is_quiet_and_an_acknowledged_one_is_marked() -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        return calm(hour) | {"bed_temp_c": 28.0 if hour < 20 else 31.0}

    judge = Judge(setup(), START_MS)
    made = readings(bin_curve, air, 30)
    messages = []
    for one in run(judge, made, 30):
        messages += [told for told in one.messages if "warm" in told.title]
        for alert in one.alerts:
            if alert.state is AlertState.ACTIVE and alert.shelved_until_ms is None:
                judge.acknowledge(alert.id, "Ash", one.at_ms)
                judge.shelve(alert.id, one.at_ms + 48 * HOUR_MS)
    assert [one.event for one in messages] == [TransitionKind.ALERT_RAISED]


def test_a_restart_gives_the_same_alerts_as_no_restart() -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        own = 12 * math.exp(-(((hour - 40) / 12) ** 2))
        return calm(hour) | {
            "bed_temp_c": 19.5 + own,
            "headspace_temp_c": 19.3 + own / 2,
            "headspace_rh_pct": min(99.0, 88 + own),
        }

    made = readings(bin_curve, air, 80)
    whole = [one for one in changes(made, 80, [melon(6)]) if one.alert]
    for cut_h in (20.0, 30.4, 33.9, 41.0, 55.7):
        before = Judge(setup(), START_MS)
        before.set_entries("tansy", [melon(6)])
        seen, alerts = [], []
        for one in run(before, made, cut_h):
            seen += [change for change in one.transitions if change.alert]
            alerts = [alert for alert in one.alerts if alert.state is not AlertState.RETURNED]
        after = Judge(setup(), START_MS)
        after.set_entries("tansy", [melon(6)])
        cut_ms = START_MS + round(cut_h * 60) * 60_000
        after.add_readings([one for one in made if one.received_at_ms <= cut_ms])
        after.restore(alerts)
        rest = [one for one in made if one.received_at_ms > cut_ms]
        for one in run(after, rest, 80, cut_h + 1 / 60):
            seen += [change for change in one.transitions if change.alert]
        assert [(one.kind, one.at_ms, one.alert.id) for one in seen if one.alert] == [
            (one.kind, one.at_ms, one.alert.id) for one in whole if one.alert
        ], cut_h


def test_late_and_shuffled_readings_end_in_the_same_state() -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        return calm(hour) | {
            "bed_temp_c": 20 + hour / 6,
            "headspace_rh_pct": 97.0,
            "headspace_temp_c": 21.5,
        }

    made = readings(bin_curve, air, 40)
    rng = random.Random(7)
    late = [replace_arrival(one, rng.choice([0, 0, 0, 40, 180])) for one in made]
    states = []
    for arrival in (made, late):
        judge = Judge(setup(), START_MS)
        for _ in run(judge, arrival, 44):
            pass
        states.append(judge.state("tansy"))
    ordered, shuffled = states
    assert ordered is not None
    assert shuffled is not None
    assert ordered["now"] == shuffled["now"]
    assert ordered["verdicts"] == shuffled["verdicts"]


def replace_arrival(one: series.Reading, minutes: int) -> series.Reading:
    return series.Reading(
        one.probe, one.shed, one.taken_at_ms, one.received_at_ms + minutes * 60_000, one.values
    )


def test_nothing_is_known_before_it_was_written_down() -> None:
    watered = entry(10, LiquidAdded(2000.0))
    told_later = replace(watered, known_at_ms=watered.at_ms + 5 * HOUR_MS)
    judge = Judge(setup(), START_MS)
    judge.set_entries("tansy", [told_later])
    window = judge._window("tansy", watered.at_ms + HOUR_MS)
    assert window.entries == ()
    assert judge._window("tansy", watered.at_ms + 6 * HOUR_MS).entries == (told_later,)
