"""The life of an alert, step by step: delays, deadband, worsening, and what UNKNOWN does."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.alerts.alert import Alert, AlertState, Transition, TransitionKind
from underlid.alerts.life import step
from underlid.alerts.policy import AT_ONCE, DELAYS, Delays, delays_of
from underlid.binmodel.bins import Bin
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.timeline import HOUR_MS, MINUTE_MS

BIN = Bin("tansy", "potting", "Tansy")
DELAY = Delays(20 * MINUTE_MS, 40 * MINUTE_MS)
EVERY_MS = 5 * MINUTE_MS

FINDINGS = {
    ".": Finding(Condition.OVERHEATING, Verdict.CLEAR),
    "?": Finding(Condition.OVERHEATING, Verdict.UNKNOWN, reason="silent"),
    "f": Finding(Condition.OVERHEATING, Verdict.HOLDS, Priority.LOW, forecast_for_ms=24 * HOUR_MS),
    "m": Finding(Condition.OVERHEATING, Verdict.HOLDS, Priority.MEDIUM),
    "h": Finding(Condition.OVERHEATING, Verdict.HOLDS, Priority.HIGH),
    "c": Finding(Condition.OVERHEATING, Verdict.HOLDS, Priority.CRITICAL),
}
"""One letter a judgement, five minutes apart."""


def live(
    course: str, delays: Delays = DELAY
) -> tuple[Alert | None, list[Transition], list[AlertState | None]]:
    alert, changes, states = None, [], []
    for place, letter in enumerate(course):
        alert, change = step(alert, FINDINGS[letter], BIN, place * EVERY_MS, delays)
        changes += [change] if change else []
        states.append(alert.state if alert else None)
        if alert is not None and alert.state is AlertState.RETURNED:
            alert = None
    return alert, changes, states


def told(course: str) -> list[tuple[str, int]]:
    """Return kind and minute of every change."""
    return [(one.kind.value, one.at_ms // MINUTE_MS) for one in live(course)[1]]


@pytest.mark.parametrize(
    ("course", "expected"),
    [
        ("mmmm", []),
        ("mmmmm", [("alert_raised", 20)]),
        ("mmm.mmmm", []),
        ("mmmmm" + "." * 8, [("alert_raised", 20)]),
        ("mmmmm" + "." * 9, [("alert_raised", 20), ("alert_returned", 65)]),
        ("mmmmm....mm" + "." * 9, [("alert_raised", 20), ("alert_returned", 95)]),
        ("mmmmmh", [("alert_raised", 20), ("alert_worsened", 25)]),
        ("hhhhhm", [("alert_raised", 20)]),
        ("hhhhhmh", [("alert_raised", 20), ("alert_worsened", 30)]),
        ("mmmmm.c", [("alert_raised", 20), ("alert_worsened", 30)]),
        ("mhchcc", [("alert_raised", 20)]),
        # UNKNOWN neither raises nor clears
        ("mmmm????", []),
        ("mmmm?m", [("alert_raised", 25)]),
        ("mmmmm" + "?" * 50, [("alert_raised", 20)]),
        ("mmmmm" + "?" * 50 + "." * 9, [("alert_raised", 20), ("alert_returned", 315)]),
        ("mmmmm." + "?" * 20, [("alert_raised", 20)]),
        ("mmmmm." + "?" * 20 + ".", [("alert_raised", 20), ("alert_returned", 130)]),
        # a pending alert does not wait for data for ever
        ("m" + "?" * 20 + "mm", []),
    ],
)
def test_delays_worsening_and_unknown(course: str, expected: list[tuple[str, int]]) -> None:
    assert told(course) == expected


def test_the_states_follow_each_other_as_the_standard_says() -> None:
    states = live("mmmmm" + "." * 9)[2]
    assert states[:5] == [AlertState.PENDING] * 4 + [AlertState.ACTIVE]
    assert states[5:] == [AlertState.RETURNING] * 8 + [AlertState.RETURNED]


def test_an_alert_keeps_when_it_began_was_raised_and_returned() -> None:
    changes = live(".mmmmm" + "." * 9)[1]
    alert = changes[-1].alert
    assert alert is not None
    assert (alert.since_ms, alert.raised_at_ms) == (5 * MINUTE_MS, 25 * MINUTE_MS)
    assert alert.returned_at_ms == 70 * MINUTE_MS


def test_worsening_takes_the_acknowledgement_back() -> None:
    alert = live("mmmmm")[0]
    assert alert is not None
    seen = Alert(**{**_fields(alert), "acknowledged_at_ms": 1, "acknowledged_by": "Ash"})
    worse, change = step(seen, FINDINGS["h"], BIN, HOUR_MS, DELAY)
    assert change is not None
    assert change.reason == "from medium to high"
    assert worse is not None
    assert (worse.acknowledged_at_ms, worse.acknowledged_by) == (None, "")


def test_without_delays_it_rises_and_returns_at_once() -> None:
    kinds = [one.kind for one in live("m..", AT_ONCE)[1]]
    assert kinds == [TransitionKind.ALERT_RAISED, TransitionKind.ALERT_RETURNED]


def test_the_same_data_gives_the_same_id_and_another_time_another() -> None:
    first, again, later = live("mmmmm")[0], live("mmmmm")[0], live(".mmmmm")[0]
    assert first is not None
    assert again is not None
    assert later is not None
    assert first.id == again.id != later.id


def test_delays_are_those_of_the_science_page_section_8() -> None:
    minutes = {
        condition: (delay.on_ms // MINUTE_MS, delay.off_ms // MINUTE_MS)
        for condition, delay in DELAYS.items()
    }
    assert minutes[Condition.OVERHEATING] == minutes[Condition.TOO_COLD] == (20, 40)
    assert minutes[Condition.CONDENSATION] == (30, 60)
    assert minutes[Condition.DRYING_OUT] == minutes[Condition.TOO_WET] == (12 * 60, 24 * 60)
    assert set(DELAYS) == set(Condition)


@given(st.text("?.mhc", max_size=120))
def test_any_course_raises_before_it_returns(course: str) -> None:
    """Invariant: raised, worsened…, returned, in that order, an alert at a time."""
    open_id = None
    for change in live(course)[1]:
        assert change.alert is not None
        if change.kind is TransitionKind.ALERT_RAISED:
            assert open_id is None
            open_id = change.alert.id
        else:
            assert change.alert.id == open_id
            if change.kind is TransitionKind.ALERT_RETURNED:
                open_id = None


@given(st.text(".mhc", max_size=60), st.text("?", min_size=1, max_size=200))
def test_missing_data_changes_nothing_that_was_raised(course: str, gap: str) -> None:
    """Invariant: UNKNOWN judgements make no change and leave a raised alert as it is."""
    before, changes, _ = live(course)
    after, more, _ = live(course + gap)
    assert more == changes
    if before is not None and before.raised_at_ms is not None:
        assert after == before


def _fields(alert: Alert) -> dict[str, object]:
    return {name: getattr(alert, name) for name in Alert.__slots__}


def test_what_was_foreseen_and_goes_is_withdrawn_and_what_has_come_is_not() -> None:
    withdrawn = live("fffff" + "." * 9)[1][-1]
    assert withdrawn.kind is TransitionKind.ALERT_RETURNED
    assert withdrawn.reason.startswith("not foreseen any more since")
    assert withdrawn.alert is not None
    assert withdrawn.alert.forecast_for_ms == 24 * HOUR_MS
    came = live("fffffm" + "ff" + "." * 9)[1]
    assert [one.kind.value for one in came] == ["alert_raised", "alert_worsened", "alert_returned"]
    assert came[-1].reason.startswith("gone since")
    assert came[-1].alert is not None
    assert came[-1].alert.forecast_for_ms is None


def test_a_bed_that_will_turn_sour_is_told_sooner_than_one_that_a_probe_calls_wet() -> None:
    by_probe, foreseen = (
        delays_of(Condition.SOUR, foreseen=ahead).on_ms for ahead in (False, True)
    )
    assert foreseen < by_probe / 2
