"""Alerts survive a restart exactly; a judgement is stored whole, once, or not at all."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import psycopg
import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st

from storage.records_places import PLACE, SQLITE, Chosen, address, fresh
from storage.records_strategies import alerts, messages
from underlid.advice.wording import text_of
from underlid.alerts.alert import (
    Alert,
    AlertState,
    Message,
    Spell,
    Transition,
    TransitionKind,
)
from underlid.errors import UnderlidError
from underlid.rules.finding import Advice, Condition, Priority
from underlid.storage.records import Records
from underlid.storage.records.columns import unpacked

pytestmark = pytest.mark.usefixtures("either_database")

ALERT = Alert(
    "tansy:condensation::1000",
    "tansy",
    "potting",
    Condition.CONDENSATION,
    "",
    AlertState.ACTIVE,
    Priority.MEDIUM,
    since_ms=1000,
    state_at_ms=2000,
    raised_at_ms=2000,
    evidence={"lid_film_g_m2": 64.5, "lid_margin_k": -0.8},
)
RAISED = Transition(
    TransitionKind.ALERT_RAISED, 2000, "tansy", Condition.CONDENSATION, "held 20 min", ALERT
)
SPELL = Spell("tansy", Condition.CONDENSATION, 1000, None, "lid_estimate", 64.5)
BEGAN = Transition(
    TransitionKind.SPELL_BEGAN, 1000, "tansy", Condition.CONDENSATION, "", spell=SPELL
)
TOLD = Message(
    "tansy:condensation::1000:raised",
    ALERT.id,
    "tansy",
    "potting",
    2000,
    Priority.MEDIUM,
    "Tansy: drops on the lid",
    "Put 400 g of shredded newspaper on top.",
    TransitionKind.ALERT_RAISED,
)


@settings(max_examples=60)
@given(st.lists(alerts, max_size=3, unique_by=lambda alert: alert.id))
def test_a_restart_restores_open_alerts_exactly(given: list[Alert]) -> None:
    with fresh() as records:
        records.save_judgement(given, [], [], [])
        expected = sorted(given, key=lambda alert: (alert.since_ms, alert.id))
        assert records.open_alerts() == expected
        records.save_judgement(given, [], [], [])
        assert records.open_alerts() == expected


@settings(max_examples=40)
@given(messages)
def test_any_message_comes_out_as_it_went_in(message: Message) -> None:
    with fresh() as records:
        records.save_judgement([], [], [message], ["email"])
        (delivery,) = records.due_deliveries(message.at_ms, 10)
        assert (delivery.message, delivery.channel, delivery.tries) == (message, "email", 0)


def test_advice_that_was_stored_before_it_had_values_keeps_its_sentence() -> None:
    stored = '[{"act":"wait","text":"Look in three days.","amount_g":null,"days":3.0,"working":""}]'
    (advice,) = unpacked(stored, tuple[Advice, ...])
    assert advice == Advice("wait", "Look in three days.", days=3.0)
    assert text_of(advice) == advice.text


def test_evidence_that_is_not_a_number_survives_too() -> None:
    odd = replace(ALERT, evidence={"lid_margin_k": math.inf, "shed_temp_c": math.nan})
    with fresh() as records:
        records.save_judgement([odd], [], [], [])
        (kept,) = records.open_alerts()
        assert kept.evidence["lid_margin_k"] == math.inf
        assert math.isnan(kept.evidence["shed_temp_c"])


def test_a_judgement_stored_again_is_stored_once() -> None:
    with fresh() as records:
        for _ in range(3):
            records.save_judgement(
                [ALERT], [BEGAN, RAISED], [TOLD], ["email", "webhook"], spells=[SPELL]
            )
        assert [d.channel for d in records.due_deliveries(2000, 10)] == ["email", "webhook"]
        assert records.spells("tansy", 0, 5000) == [SPELL]
        assert [c.kind for c in records.alert_changes(ALERT.id)] == ["alert_raised"]


def test_a_spell_that_goes_on_runs_again() -> None:
    stopped = replace(SPELL, ended_ms=3000, peak=70.0, water_g_m2=12.0)
    running = replace(SPELL, peak=None)
    with fresh() as records:
        for spell in (running, stopped, running):
            records.save_judgement([], [], [], [], spells=[spell])
            assert records.spells("tansy", 0, 5000) == [spell]


def test_a_judgement_is_stored_whole_or_not_at_all() -> None:
    nameless = replace(TOLD, key=None)  # the outbox refuses it, after the alert was written
    with fresh() as records:
        with pytest.raises(sa.exc.IntegrityError):
            records.save_judgement(
                [ALERT], [BEGAN, RAISED], [TOLD, nameless], ["email"], spells=[SPELL]
            )
        assert records.open_alerts() == []
        assert records.due_deliveries(9000, 10) == []
        assert records.spells("tansy", 0, 5000) == []


def test_a_returned_alert_is_no_longer_open_but_still_there() -> None:
    gone = replace(ALERT, state=AlertState.RETURNED, state_at_ms=9000, returned_at_ms=9000)
    with fresh() as records:
        records.save_judgement([ALERT], [RAISED], [], [])
        records.save_judgement([gone], [], [], [])
        assert records.open_alerts() == []
        assert records.alert(ALERT.id) == gone
        assert records.alerts("tansy") == [gone]
        assert records.alert("other") is None


def test_what_was_over_before_it_was_raised_is_not_listed() -> None:
    short = replace(ALERT, state=AlertState.PENDING, raised_at_ms=None)
    over = replace(short, state=AlertState.RETURNED, state_at_ms=1900, returned_at_ms=1900)
    with fresh() as records:
        records.save_judgement([short], [], [], [])
        assert records.alerts("tansy") == [short]
        records.save_judgement([over], [], [], [])
        assert records.alerts("tansy") == records.open_alerts() == []


def test_people_acknowledge_once_and_shelve_as_often_as_they_like() -> None:
    with fresh() as records:
        records.save_judgement([ALERT], [RAISED], [], [])
        seen = records.acknowledge(ALERT.id, "Ash", 3000)
        assert (seen.acknowledged_by, seen.acknowledged_at_ms) == ("Ash", 3000)
        assert records.acknowledge(ALERT.id, "Robin", 4000) == seen
        assert records.shelve(ALERT.id, 9000, "Robin", 5000).shelved_until_ms == 9000
        assert records.shelve(ALERT.id, None, "Robin", 6000).shelved_until_ms is None
        assert records.open_alerts("tansy") == [seen]
        history = [(c.kind, c.by) for c in records.alert_changes(ALERT.id)]
        assert history == [
            ("alert_raised", ""),
            ("acknowledged", "Ash"),
            ("shelved", "Robin"),
            ("shelved", "Robin"),
        ]
        with pytest.raises(UnderlidError, match="alert id"):
            records.acknowledge("other", "Ash", 1)


def test_a_judgement_made_before_a_persons_act_does_not_undo_it() -> None:
    worse = replace(ALERT, priority=Priority.HIGH)
    with fresh() as records:
        records.save_judgement([ALERT], [], [], [])
        records.acknowledge(ALERT.id, "Ash", 3000)
        records.shelve(ALERT.id, 9000, "Ash", 3000)
        records.save_judgement([worse], [], [], [], judged_at_ms=2900)
        (kept,) = records.open_alerts()
        assert (kept.priority, kept.acknowledged_by) == (Priority.HIGH, "Ash")
        assert kept.shelved_until_ms == 9000
        records.save_judgement([worse], [], [], [], judged_at_ms=3100)
        assert records.open_alerts() == [kept]


def test_a_worsening_undoes_an_acknowledgement_from_before_it_only() -> None:
    worse = replace(ALERT, priority=Priority.HIGH)
    change = replace(RAISED, kind=TransitionKind.ALERT_WORSENED, at_ms=4000, alert=worse)
    with fresh() as records:
        records.save_judgement([ALERT], [], [], [])
        records.acknowledge(ALERT.id, "Ash", 3000)
        records.save_judgement([worse], [change], [], [], judged_at_ms=4000)
        assert records.open_alerts() == [worse]
        records.acknowledge(ALERT.id, "Robin", 5000)
        records.save_judgement([worse], [change], [], [], judged_at_ms=4000)
        assert [one.acknowledged_by for one in records.open_alerts()] == ["Robin"]


def test_a_removed_bins_open_alerts_return() -> None:
    with fresh() as records:
        records.save_judgement([ALERT, replace(ALERT, id="s", bin="sorrel")], [], [], [])
        records.remove_bin("tansy", at_ms=7000)
        assert [alert.bin for alert in records.open_alerts()] == ["sorrel"]
        gone = records.alert(ALERT.id)
        assert gone is not None
        assert (gone.state, gone.returned_at_ms) == (AlertState.RETURNED, 7000)


def test_spells_are_found_by_the_time_they_touch() -> None:
    first = Spell("tansy", Condition.OVERHEATING, 1000, 3000, peak=31.0)
    second = replace(SPELL, began_ms=4000)
    with fresh() as records:
        records.save_judgement([], [], [], [], spells=[first, second])
        assert records.spells("tansy", 0, 9000) == [first, second]
        assert records.spells("tansy", 3500, 9000) == [second]
        assert records.spells("tansy", 0, 4000) == [first]
        ended = replace(second, ended_ms=6000, water_g_m2=120.0, feed_at_ms=500)
        records.save_judgement([], [], [], [], spells=[ended])
        assert records.spells("tansy", 5000, 9000) == [ended]


def test_pages_of_alerts_follow_each_other() -> None:
    with fresh() as records:
        given = [replace(ALERT, id=f"a{n}", since_ms=n // 2) for n in range(9)]
        records.save_judgement(given, [], [], [])
        pages, before = [], None
        while page := records.alerts(most=2, before=before):
            pages += page
            before = page[-1].id
        assert [alert.id for alert in pages] == [f"a{n}" for n in reversed(range(9))]


def test_an_unchanged_judgement_writes_nothing(tmp_path: Path) -> None:
    records = Records.open(address(tmp_path))
    records.save_setup(PLACE)
    records.save_judgement([ALERT], [], [], [])
    before = written(tmp_path)
    for _ in range(5):
        records.save_judgement([ALERT], [], [], [])
    assert written(tmp_path) == before
    records.close()


def written(folder: Path) -> object:
    """Return what changes whenever an alert is written."""
    if Chosen.kind == SQLITE:
        return (folder / "records.db-wal").stat().st_size
    with psycopg.connect(address(folder)) as connection:
        return connection.execute("SELECT xmin FROM alerts").fetchall()
