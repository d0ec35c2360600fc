"""A fault raises one alert of its probe, none of the bin, and neither clears nor hides a real event."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest

from binmodel.faulty import AIR, AIR_PLACE, BIN, PLACE, PROBE, START_MS, Series, healthy
from underlid.alerts.alert import Transition, TransitionKind
from underlid.binmodel.bins import Setup, Shed
from underlid.judge import Judge
from underlid.readings.values import Reading, TimeSource
from underlid.rules.finding import Condition, Verdict
from underlid.timeline import HOUR_MS, MINUTE_MS

SETUP = Setup(
    {"potting": Shed("potting", air_probe=AIR)}, {"tansy": BIN}, {PROBE: PLACE, AIR: AIR_PLACE}
)
DAYS = 7


def judged(made: Iterable[Reading], until_h: float) -> tuple[Judge, list[Transition]]:
    """Deliver readings as they were received, and judge every five minutes."""
    judge = Judge(SETUP, START_MS)
    queue = sorted(made, key=lambda one: one.received_at_ms)
    place, found = 0, []
    for now_ms in range(START_MS, START_MS + round(until_h * HOUR_MS) + 1, 5 * MINUTE_MS):
        before = place
        while place < len(queue) and queue[place].received_at_ms <= now_ms:
            place += 1
        judge.add_readings(queue[before:place])
        found += [change for one in judge.judge(now_ms) for change in one.transitions]
    return judge, found


def told(found: list[Transition]) -> list[tuple[str, str, str]]:
    return [
        (one.condition.value, one.alert.subject, one.alert.cause)
        for one in found
        if one.kind is TransitionKind.ALERT_RAISED and one.alert
    ]


def test_several_faults_one_after_the_other_are_one_alert_and_none_of_the_bin() -> None:
    made = healthy(DAYS)
    rng = np.random.default_rng(6)
    hours, values = made.hours, made.values
    spiky = (hours > 72) & (hours < 100)
    values["bed_temp_c"][spiky] += np.where(rng.random(int(spiky.sum())) < 0.03, 15.0, 0.0)
    values["bed_temp_c"][(hours > 90) & (hours < 91)] = 85.0
    stuck = (hours >= 100) & (hours < 130)
    values["bed_temp_c"][stuck] = values["bed_temp_c"][stuck][0]
    _, found = judged(made.readings(), DAYS * 24)
    assert [one[:2] for one in told(found)] == [("probe_fault", PROBE)]
    returned = [one for one in found if one.kind is TransitionKind.ALERT_RETURNED]
    assert len(returned) == 1
    assert 130 < (returned[0].at_ms - START_MS) / HOUR_MS < 148


def wet_lid() -> Series:
    """Return a bin that heats from hour 72 on, and whose lid runs."""
    return healthy(DAYS, own=lambda hours: 0.8 + 9.0 * np.clip((hours - 72.0) / 12.0, 0.0, 1.0))


def test_a_humidity_sensor_that_sticks_in_an_event_does_not_end_it() -> None:
    made = wet_lid()
    stuck = made.hours > 100
    made.values["headspace_rh_pct"][stuck] = 70.0
    judge, found = judged(made.readings(), DAYS * 24)
    assert ("probe_fault", PROBE, "stuck") in told(found) or ("probe_fault", PROBE) in {
        one[:2] for one in told(found)
    }
    assert "condensation" in {one[0] for one in told(found)}
    state = judge.state("tansy")
    assert state is not None
    alerts: list[dict[str, object]] = state["alerts"]  # type: ignore[assignment]
    lid = [one for one in alerts if one["condition"] == "condensation"]
    assert len(lid) == 1
    evidence: dict[str, object] = lid[0]["evidence"]  # type: ignore[assignment]
    assert evidence["headspace_rh_sensor"] == "at fault"
    (doubt,) = state["distrusted"]  # type: ignore[misc]
    assert (doubt["probe"], doubt["channel"], doubt["cause"], doubt["until"]) == (
        (PROBE, "headspace_rh_pct", "stuck", None)
    )  # fmt: skip


def test_a_lifted_lid_stands_in_the_bins_state() -> None:
    made = healthy(3)
    off = (made.hours >= 60.0) & (made.hours < 60.4)
    made.values["headspace_rh_pct"][off] -= 25.0
    made.values["headspace_temp_c"][off] = made.values["shed_temp_c"][off]
    judge, found = judged(made.readings(), 64.0)
    assert told(found) == []
    state = judge.state("tansy")
    assert state is not None
    assert str(state["opened_at"]).endswith("12:00:00Z")
    assert judged(healthy(2).readings(), 40.0)[0].state("tansy")["opened_at"] is None  # type: ignore[index]


@pytest.mark.parametrize(
    ("lag_h", "source", "behind"),
    [(3.0, TimeSource.DEVICE, True), (0.0, TimeSource.RECEIPT_CLOCK_AHEAD, False)],
)
def test_a_clock_that_is_off_is_told_as_such(
    lag_h: float, source: TimeSource, *, behind: bool
) -> None:
    made = []
    for one in healthy(3).readings():
        late = one.probe == PROBE and one.taken_at_ms > START_MS + 48 * HOUR_MS
        off_ms = round(lag_h * HOUR_MS) if late else 0
        when = source if late else TimeSource.DEVICE
        taken_ms = one.taken_at_ms - off_ms
        made.append(Reading(one.probe, one.shed, taken_ms, one.taken_at_ms, one.values, when))
    judge, found = judged(made, 60.0)
    assert told(found) == [("probe_fault", PROBE, "wrong_clock")]
    verdicts = judge.judge(START_MS + 60 * HOUR_MS + 5 * MINUTE_MS)[0].findings
    bed = next(one for one in verdicts if one.condition is Condition.OVERHEATING)
    assert bed.verdict is (Verdict.UNKNOWN if behind else Verdict.CLEAR)


@pytest.mark.parametrize(
    ("off_min", "from_h", "jitter_s", "told_of"),
    [(8.0, 48, 5, True), (-7.0, 48, 5, True), (3.0, 48, 5, False), (8.0, 48, 150, False),
     (8.0, 0, 5, False)],
)  # fmt: skip
def test_a_small_error_of_a_clock_shows_when_readings_came_promptly_before(
    off_min: float, from_h: int, jitter_s: int, *, told_of: bool
) -> None:
    made = []
    for number, one in enumerate(healthy(3).readings()):
        wrong = one.probe == PROBE and one.taken_at_ms >= START_MS + from_h * HOUR_MS
        off_ms = round(off_min * MINUTE_MS) if wrong else 0
        came_ms = one.taken_at_ms + 1000 * (number * 7919 % max(jitter_s, 1) if wrong else 1)
        made.append(Reading(one.probe, one.shed, one.taken_at_ms - off_ms, came_ms, one.values))
    judge, found = judged(made, 60.0)
    assert told(found) == ([("probe_fault", PROBE, "wrong_clock")] if told_of else [])
    verdicts = judge.judge(START_MS + 60 * HOUR_MS + 5 * MINUTE_MS)[0].findings
    bed = next(one for one in verdicts if one.condition is Condition.OVERHEATING)
    assert bed.verdict is Verdict.CLEAR


def test_a_back_fill_is_no_wrong_clock() -> None:
    made = [
        replace_received(one, START_MS + 60 * HOUR_MS)
        if one.probe == PROBE and 48 * HOUR_MS <= one.taken_at_ms - START_MS < 60 * HOUR_MS
        else one
        for one in healthy(3).readings()
    ]
    _, found = judged(made, 70.0)
    assert [one[2] for one in told(found)] == ["silent"]


def replace_received(one: Reading, received_at_ms: int) -> Reading:
    return Reading(one.probe, one.shed, one.taken_at_ms, received_at_ms, one.values)
