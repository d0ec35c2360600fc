"""The lines of verdicts.jsonl: the keys that other programs rely on."""

from __future__ import annotations

import json

from files.samples import T0_MS
from underlid.alerts.alert import (
    Alert,
    AlertState,
    Message,
    Spell,
    Transition,
    TransitionKind,
)
from underlid.files.verdicts import encoded, told_line, transition_line
from underlid.rules.finding import Advice, Condition, Priority
from underlid.timeline import HOUR_MS, rfc3339

ALERT = Alert(
    id="a1",
    bin="tansy",
    shed="potting",
    condition=Condition.OVERHEATING,
    subject="",
    state=AlertState.ACTIVE,
    priority=Priority.HIGH,
    since_ms=T0_MS,
    state_at_ms=T0_MS,
    cause="feed",
    feed_at_ms=T0_MS - HOUR_MS,
    forecast_for_ms=T0_MS + HOUR_MS,
    evidence={"bed_temp_c": 31.0},
    advice=(Advice("spread", "Spread it.", amount_g=300.0),),
    text="Too warm.",
)


def test_an_alert_has_the_promised_keys() -> None:
    line = transition_line(
        Transition(
            TransitionKind.ALERT_RAISED, T0_MS, "tansy", Condition.OVERHEATING, "held", alert=ALERT
        )
    )
    assert line["event"] == "alert_raised"
    assert line["time"] == rfc3339(T0_MS)
    assert line["cause"] == "feed"
    assert line["forecast_for"] == rfc3339(T0_MS + HOUR_MS)
    assert line["feed_time"] == rfc3339(T0_MS - HOUR_MS)
    assert line["advice"] == [{"act": "spread", "amount_g": 300.0, "text": "Spread it."}]
    assert "grade" not in line
    assert json.loads(encoded([line])) == line


def test_a_spell_ends_with_its_figures() -> None:
    spell = Spell(
        "tansy",
        Condition.CONDENSATION,
        T0_MS,
        T0_MS + 9 * HOUR_MS,
        "lid_estimate",
        120.0,
        210.5,
        T0_MS,
    )
    line = transition_line(
        Transition(
            TransitionKind.SPELL_ENDED,
            T0_MS + 9 * HOUR_MS,
            "tansy",
            Condition.CONDENSATION,
            "gone",
            spell=spell,
        )
    )
    wanted = {"duration_h": 9.0, "water_g_m2": 210.5, "peak": 120.0, "grade": "lid_estimate"}
    assert wanted.items() <= line.items()
    assert line["feed_time"] == rfc3339(T0_MS)


def test_a_message_is_a_line() -> None:
    message = Message(
        "a1:alert_raised:0", "a1", "tansy", "potting", T0_MS, Priority.HIGH, "Tansy: too warm",
        "Too warm.", TransitionKind.ALERT_RAISED,
    )  # fmt: skip
    line = told_line(message, ALERT)
    wanted = {"event": "told", "condition": "overheating", "about": "alert_raised", "alert": "a1"}
    assert wanted.items() <= line.items()
