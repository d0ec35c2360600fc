"""Probes that fall silent, stick or say nonsense; and probes that are merely thrifty."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from judge.series import START_MS, changes, readings, run, setup
from underlid.alerts.alert import Transition
from underlid.judge import Judge
from underlid.readings.values import Reading
from underlid.rules.finding import Condition, Finding, Verdict
from underlid.timeline import HOUR_MS, MINUTE_MS


def air(hour: float) -> dict[str, float]:
    return {"shed_temp_c": 19.0 + 2 * math.sin(2 * math.pi * hour / 24)}


def bed(hour: float) -> dict[str, float]:
    return {"bed_temp_c": 20.0 + math.sin(2 * math.pi * (hour - 4) / 24)}


def faults(found: list[Transition]) -> list[tuple[str, str, float]]:
    return [
        (one.kind.value, one.alert.cause, (one.at_ms - START_MS) / HOUR_MS)
        for one in found
        if one.condition is Condition.PROBE_FAULT and one.alert
    ]


def finding_of(judge: Judge, hours: float, subject: str = "tansy-1") -> Finding:
    judgement = judge.judge(START_MS + round(hours * HOUR_MS))[0]
    return next(one for one in judgement.findings if one.subject == subject)


def test_silence_is_told_after_half_an_hour_and_the_delay_and_ends_with_the_next_reading() -> None:
    def curve(hour: float) -> dict[str, float] | None:
        return None if 20 <= hour < 30 else bed(hour)

    found = faults(changes(readings(curve, air, 36), 36))
    assert [(kind, cause) for kind, cause, _ in found] == [
        ("alert_raised", "silent"),
        ("alert_returned", "silent"),
    ]
    # last reading at 19.92 h, silent 30 minutes later, raised after the on-delay of an hour
    assert found[0][2] == pytest.approx(21.5, abs=0.15)
    assert found[1][2] == pytest.approx(30.4, abs=0.15)


def test_a_probe_that_sends_its_readings_once_an_hour_is_not_silent() -> None:
    hourly = [
        Reading(
            one.probe,
            one.shed,
            one.taken_at_ms,
            -(-one.taken_at_ms // HOUR_MS) * HOUR_MS + MINUTE_MS,
            one.values,
        )
        for one in readings(bed, air, 48)
    ]
    judge = Judge(setup(), START_MS)
    found = [change for each in run(judge, hourly, 48) for change in each.transitions]
    assert found == []


def test_a_slow_probe_has_three_of_its_own_intervals() -> None:
    judge = Judge(setup(), START_MS)
    judge.add_readings(readings(bed, air, 30, step_min=30))
    assert finding_of(judge, 30.9).verdict is Verdict.CLEAR
    assert finding_of(judge, 31.2).verdict is Verdict.HOLDS


def test_a_probe_that_was_never_heard_is_unknown() -> None:
    judge = Judge(setup(), START_MS)
    found = finding_of(judge, 1.0)
    assert (found.verdict, found.reason) == (Verdict.UNKNOWN, "this probe has sent nothing yet")


def test_a_bed_probe_that_stands_still_while_the_air_moves_is_stuck() -> None:
    judge = Judge(setup(), START_MS)

    def stuck(hour: float) -> dict[str, float]:
        swing = math.sin(2 * math.pi * hour / 24)
        return {"bed_temp_c": 21.3, "headspace_temp_c": 20.0 + 2 * swing}

    judge.add_readings(readings(stuck, air, 13))
    found = finding_of(judge, 13)
    assert (found.verdict, found.cause, found.evidence["channel"]) == (
        Verdict.HOLDS, "stuck", "bed_temp_c",
    )  # fmt: skip


def test_what_a_stuck_channel_says_neither_raises_nor_clears() -> None:
    def curve(hour: float) -> dict[str, float]:
        swing = math.sin(2 * math.pi * hour / 24)
        return {"bed_temp_c": 31.0, "headspace_temp_c": 25.0 + 2 * swing}

    judge = Judge(setup(), START_MS)
    judge.add_readings(readings(curve, air, 13))
    found = {one.condition: one for one in judge.judge(START_MS + 13 * HOUR_MS)[0].findings}
    assert found[Condition.OVERHEATING].verdict is Verdict.UNKNOWN


def test_an_even_room_makes_no_probe_stuck() -> None:
    judge = Judge(setup(), START_MS)
    still = {"bed_temp_c": 20.0, "headspace_temp_c": 19.0}
    judge.add_readings(readings(lambda _: still, lambda _: {"shed_temp_c": 18.0}, 13))
    assert finding_of(judge, 13).verdict is Verdict.CLEAR


@pytest.mark.parametrize(
    ("values", "channel", "cause"),
    [
        ({"bed_temp_c": 85.0}, "bed_temp_c", "power_on_value"),
        ({"bed_temp_c": -127.0}, "bed_temp_c", "no_sensor"),
        ({"headspace_rh_pct": 180.0}, "headspace_rh_pct", "above_range"),
        ({"soil_raw": 4095.0}, "soil_raw", "adc_rail"),
    ],
)
def test_what_no_working_sensor_says_is_named(
    values: dict[str, float], channel: str, cause: str
) -> None:
    def curve(hour: float) -> dict[str, float]:
        return bed(hour) | (values if hour > 6 else {})

    judge = Judge(setup(), START_MS)
    judge.add_readings(readings(curve, air, 8))
    found = finding_of(judge, 8)
    assert (found.verdict, found.cause, found.evidence["channel"]) == (
        Verdict.HOLDS, cause, channel,
    )  # fmt: skip


def test_one_bad_value_now_and_then_is_no_fault_and_many_are_one_alert() -> None:
    def curve(every_h: int) -> list[str]:
        def says(hour: float) -> dict[str, float]:
            loose = 12 < hour < 60 and round(hour * 12) % (12 * every_h) == 7
            return {"bed_temp_c": 85.0} if loose else bed(hour)

        return [
            f"{one.kind.value} {one.alert.cause}"
            for one in changes(readings(says, air, 84), 84)
            if one.alert and one.alert.condition is Condition.PROBE_FAULT
        ]

    assert curve(12) == []
    assert curve(2) == ["alert_raised nonsense", "alert_returned nonsense"]


def test_the_shed_probe_is_watched_too() -> None:
    judge = Judge(setup(), START_MS)
    judge.add_readings(readings(bed, lambda hour: air(hour) if hour < 5 else None, 8))
    assert finding_of(judge, 8, "air1").cause == "silent"


def running_down(hour: float) -> dict[str, float]:
    volts = 3.44 - 0.002 * hour + 0.02 * math.sin(2 * math.pi * hour / 24)
    return bed(hour) | {"battery_v": round(4.15 if hour >= 60 else volts, 3)}


def test_a_weak_battery_is_told_once_until_it_is_charged_and_is_not_disbelieved() -> None:
    all_readings = readings(running_down, air, 70)
    judge = Judge(setup(), START_MS)
    judged = list(run(judge, all_readings, 70))
    found = faults([change for one in judged for change in one.transitions])
    assert [(kind, cause) for kind, cause, _ in found] == [
        ("alert_raised", "weak_battery"),
        ("alert_returned", "weak_battery"),
    ]
    assert 14.0 < found[0][2] < 24.0
    assert found[1][2] == pytest.approx(60.5, abs=0.2)
    (message,) = [one for each in judged for one in each.messages if one.event == "alert_raised"]
    assert "has a weak battery (3.39 V); charge it" in message.text
    own = replace(setup().bins["tansy"], limits={"battery_low_v": 2.2})
    other = Judge(replace(setup(), bins={"tansy": own}), START_MS)
    assert not faults(
        [change for one in run(other, all_readings, 50) for change in one.transitions]
    )


def test_a_probe_that_no_battery_feeds_has_no_weak_one() -> None:
    judge = Judge(setup(), START_MS)
    judge.add_readings(readings(lambda hour: bed(hour) | {"battery_v": 0.0}, air, 8))
    assert finding_of(judge, 8).verdict is Verdict.CLEAR


def test_a_weak_battery_stays_weak_over_a_restart_until_it_was_charged() -> None:
    made = readings(running_down, air, 40)
    judge = Judge(setup(), START_MS)
    alerts = list(run(judge, made, 40))[-1].alerts
    (weak,) = [one for one in alerts if one.cause == "weak_battery"]
    for volts, verdict in ((3.43, Verdict.HOLDS), (4.1, Verdict.CLEAR)):
        again = Judge(setup(), START_MS)
        again.restore([weak])
        at_ms = START_MS + 40 * HOUR_MS
        again.add_readings([Reading("tansy-1", "potting", at_ms, at_ms, {"battery_v": volts})])
        assert finding_of(again, 40.1).verdict is verdict
