"""Who is told of what: few messages, none of them twice, never less than the critical ones."""

from __future__ import annotations

from dataclasses import replace

import pytest

from underlid.alerts.alert import Alert, AlertState, Transition, TransitionKind
from underlid.alerts.life import step
from underlid.alerts.policy import delays_of
from underlid.alerts.telling import MESSAGES_A_DAY, message_for
from underlid.binmodel.bins import Bin
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.timeline import DAY_MS, HOUR_MS

BIN = Bin("tansy", "potting", "Tansy")
NOW_MS = 1_790_000_000_000
ALERT = Alert(
    "a1", "tansy", "potting", Condition.OVERHEATING, "", AlertState.ACTIVE, Priority.HIGH,
    NOW_MS - HOUR_MS, NOW_MS, raised_at_ms=NOW_MS, text="Tansy's bed is at 30.4 °C.",
)  # fmt: skip


def change(kind: TransitionKind, alert: Alert = ALERT) -> Transition:
    return Transition(kind, NOW_MS, "tansy", Condition.OVERHEATING, "", alert=alert)


def test_a_raised_alert_is_told_with_its_sentence_and_a_key_of_its_own() -> None:
    message = message_for(change(TransitionKind.ALERT_RAISED), BIN, ())
    assert message is not None
    assert (message.title, message.text) == ("Tansy: too warm", ALERT.text)
    assert message.alert_id == "a1"
    worse = message_for(change(TransitionKind.ALERT_WORSENED), BIN, ())
    assert worse is not None
    assert worse.key != message.key
    assert worse.title == "Tansy: too warm (worse)"


def test_a_return_is_told_only_when_the_alert_was() -> None:
    assert message_for(change(TransitionKind.ALERT_RETURNED), BIN, ()) is None
    told = replace(ALERT, told_at_ms=(NOW_MS - HOUR_MS,))
    message = message_for(change(TransitionKind.ALERT_RETURNED, told), BIN, told.told_at_ms)
    assert message is not None
    assert message.title == "Tansy: no longer too warm"


@pytest.mark.parametrize(("until_ms", "quiet"), [(NOW_MS + 1, True), (NOW_MS, False)])
def test_a_shelved_alert_is_quiet_until_its_time(until_ms: int, quiet: bool) -> None:
    shelved = replace(ALERT, shelved_until_ms=until_ms)
    message = message_for(change(TransitionKind.ALERT_WORSENED, shelved), BIN, ())
    assert (message is None) is quiet


def test_a_bin_gets_three_messages_a_day_and_critical_ones_beyond() -> None:
    raised = change(TransitionKind.ALERT_RAISED)
    told = [NOW_MS - hour * HOUR_MS for hour in range(MESSAGES_A_DAY)]
    assert message_for(raised, BIN, told[:-1]) is not None
    assert message_for(raised, BIN, told) is None
    assert message_for(raised, BIN, [at_ms - DAY_MS for at_ms in told]) is not None
    critical = replace(ALERT, priority=Priority.CRITICAL)
    assert message_for(change(TransitionKind.ALERT_RAISED, critical), BIN, told) is not None


def test_the_all_clear_of_what_was_foreseen_is_told_on_a_full_day_too() -> None:
    full = [NOW_MS - hour * HOUR_MS for hour in range(1, 1 + MESSAGES_A_DAY)]
    ahead = replace(ALERT, priority=Priority.LOW, forecast_for_ms=NOW_MS + HOUR_MS)
    told = replace(ahead, told_at_ms=tuple(full))
    message = message_for(change(TransitionKind.ALERT_RETURNED, told), BIN, full)
    assert message is not None
    assert message.title == "Tansy: too warm not expected after all"
    assert message_for(change(TransitionKind.ALERT_RETURNED, ahead), BIN, full) is None
    assert message_for(change(TransitionKind.ALERT_RAISED, ahead), BIN, full) is None
    came = replace(told, forecast_for_ms=None)
    assert message_for(change(TransitionKind.ALERT_RETURNED, came), BIN, full) is None


def test_what_is_as_bad_every_evening_is_told_once_and_what_is_critical_always() -> None:
    def worse(priority: Priority, told: Priority | None) -> bool:
        alert = replace(ALERT, priority=priority, told_priority=told, told_at_ms=(NOW_MS - DAY_MS,))
        return message_for(change(TransitionKind.ALERT_WORSENED, alert), BIN, ()) is not None

    assert worse(Priority.HIGH, None)
    assert worse(Priority.HIGH, Priority.MEDIUM)
    assert not worse(Priority.HIGH, Priority.HIGH)
    assert not worse(Priority.MEDIUM, Priority.HIGH)
    assert worse(Priority.CRITICAL, Priority.CRITICAL)


def test_what_comes_shortly_after_it_was_foreseen_is_told_only_when_it_is_worse() -> None:
    def told(priority: Priority, hours_ago: float, *, foreseen: bool) -> bool:
        before = replace(
            ALERT,
            priority=Priority.LOW,
            told_priority=Priority.LOW,
            told_at_ms=(NOW_MS - round(hours_ago * HOUR_MS),),
            forecast_for_ms=NOW_MS if foreseen else None,
        )
        come = Finding(Condition.OVERHEATING, Verdict.HOLDS, priority)
        _, worse = step(before, come, BIN, NOW_MS, delays_of(Condition.OVERHEATING))
        assert worse is not None
        return message_for(worse, BIN, ()) is not None

    assert not told(Priority.MEDIUM, 1.0, foreseen=True)
    assert told(Priority.MEDIUM, 4.0, foreseen=True)
    assert told(Priority.HIGH, 1.0, foreseen=True)
    assert told(Priority.MEDIUM, 1.0, foreseen=False)


def test_a_spell_is_not_told() -> None:
    spell = Transition(TransitionKind.SPELL_BEGAN, NOW_MS, "tansy", Condition.OVERHEATING, "")
    assert message_for(spell, BIN, ()) is None


def test_a_hunger_that_was_foreseen_is_told_once_and_again_when_it_is_days_late() -> None:
    hunger = replace(
        ALERT, condition=Condition.HUNGRY, priority=Priority.LOW, told_at_ms=(NOW_MS - DAY_MS,)
    )
    assert message_for(change(TransitionKind.ALERT_RAISED, hunger), BIN, ()) is not None
    assert message_for(change(TransitionKind.ALERT_WORSENED, hunger), BIN, ()) is None
    assert message_for(change(TransitionKind.ALERT_RETURNED, hunger), BIN, ()) is None
    late = replace(hunger, priority=Priority.MEDIUM)
    assert message_for(change(TransitionKind.ALERT_WORSENED, late), BIN, ()) is not None
