"""Told by the clock: once, whatever is restarted, late, or done by several workers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from alerts.test_again import ALERT
from notify.messages import TOLD
from notify.sinks import mail_sink
from service.running import Running
from storage.records_places import PLACE, fresh
from underlid.alerts.alert import AlertState, Message, Occasion
from underlid.alerts.quiet import QuietHours
from underlid.alerts.routes import Route, RouteRules
from underlid.clock import VirtualClock
from underlid.notify.outbox import Courier, Drained
from underlid.notify.rounds import SETTLE_MS, Rounds
from underlid.rules.finding import Priority
from underlid.storage.records import Records
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS, parse_time_ms
from waiting import wait_until

SEVEN_MS = parse_time_ms("2026-06-12T07:00:00Z")
DUE: dict[str, Any] = {
    "feeding": {
        "next_feed_due": "2026-06-01T00:00:00Z",
        "next_feed_most_g": 400.0,
        "text": "Feed.",
    },
    "now": {"moisture_sd_pct": 2.0},
}


@pytest.fixture
def records() -> Iterator[Records]:
    with fresh() as opened:
        opened.add_person("Ash", "keeper", "herd under the lid")
        yield opened


def rounds(records: Records, now_ms: int, state: Any = DUE, **more: Any) -> Rounds:
    return Rounds(records, lambda _: state, VirtualClock(now_ms), ["email"], 12.0, **more)


def route(records: Records, at_ms: int, **rules: Any) -> Route:
    return records.add_route("Ash", "json://h/x", "json", "", RouteRules(**rules), at_ms)


def told(records: Records, channel: str) -> list[Message]:
    return [one.message for one in records.due_deliveries(9**15, 99, channel)]


def test_a_digest_comes_once_whoever_makes_it_and_however_often(records: Records) -> None:
    made = route(records, SEVEN_MS - HOUR_MS, least=None, digest_hour=7)
    assert rounds(records, SEVEN_MS - 1).go() == 0
    for _ in range(2):
        worker = rounds(records, SEVEN_MS + MINUTE_MS)
        worker.go()
        worker.go()
    (message,) = told(records, made.channel)
    assert message.title == "Underlid today: 2 due"
    assert "Tansy: its next feed is due now. Feed." in message.text
    assert told(records, "email") == []


def test_after_a_week_away_there_is_one_digest_and_not_seven(records: Records) -> None:
    made = route(records, SEVEN_MS - 8 * DAY_MS, digest_hour=7)
    assert rounds(records, SEVEN_MS + 5 * HOUR_MS).go() == 1
    assert rounds(records, SEVEN_MS + DAY_MS - 1).go() == 0
    assert rounds(records, SEVEN_MS + DAY_MS).go() == 1
    assert len(told(records, made.channel)) == 2


def test_an_hour_chosen_today_for_earlier_today_begins_tomorrow(records: Records) -> None:
    made = route(records, SEVEN_MS + HOUR_MS, digest_hour=7)
    assert rounds(records, SEVEN_MS + 2 * HOUR_MS).go() == 0
    later = replace(made.rules, digest_hour=10)
    records.change_route(made.id, "", later, SEVEN_MS + 2 * HOUR_MS)
    assert rounds(records, SEVEN_MS + 3 * HOUR_MS).go() == 1
    records.change_route(made.id, "", made.rules, SEVEN_MS + 4 * HOUR_MS)
    assert rounds(records, SEVEN_MS + 5 * HOUR_MS).go() == 0


def test_what_else_is_changed_at_the_hour_takes_no_digest_away(records: Records) -> None:
    made = route(records, SEVEN_MS - HOUR_MS, digest_hour=7)
    records.change_route(made.id, "desk", replace(made.rules, quiet="22:00-07:00"), SEVEN_MS + 1)
    assert rounds(records, SEVEN_MS + MINUTE_MS).go() == 1


def test_a_clock_that_was_years_ahead_costs_no_digest_once_it_is_right(records: Records) -> None:
    made = route(records, SEVEN_MS - HOUR_MS, digest_hour=7)
    assert rounds(records, SEVEN_MS + 999 * DAY_MS).go() == 1
    assert rounds(records, SEVEN_MS + MINUTE_MS).go() == 1
    assert rounds(records, SEVEN_MS + 2 * MINUTE_MS).go() == 0
    assert rounds(records, SEVEN_MS + DAY_MS).go() == 1
    assert len(told(records, made.channel)) == 3


def test_with_nothing_to_say_it_says_so_only_to_who_asked_for_that(records: Records) -> None:
    silent = route(records, 0, digest_hour=7)
    asked = route(records, 0, digest_hour=7, digest_always=True, bins=("tansy",))
    assert rounds(records, SEVEN_MS, state={}).go() == 1
    assert rounds(records, SEVEN_MS + HOUR_MS).go() == 0  # nor is what came up since told today
    assert told(records, silent.channel) == []
    (message,) = told(records, asked.channel)
    assert message.text == "Nothing is open, came and went or is due: 1 bin is watched."


def test_after_a_start_it_waits_until_the_bins_are_judged(records: Records) -> None:
    route(records, 0, digest_hour=7, digest_always=True)
    clock = VirtualClock(SEVEN_MS)
    waiting = Rounds(records, lambda _: None, clock, [], 12.0)
    assert waiting.go() == 0
    clock.set_ms(SEVEN_MS + SETTLE_MS)
    assert waiting.go() == 1


def test_what_nobody_acknowledged_is_said_again_over_every_channel_once(records: Records) -> None:
    made, other = route(records, 0), route(records, 0, bins=("sorrel",))
    now_ms = ALERT.told_at_ms[0] + 13 * HOUR_MS
    records.save_judgement([ALERT], [], [], [])
    for _ in range(2):
        rounds(records, now_ms).go()
    (message,) = told(records, "email")
    assert message.event == Occasion.ALERT_REPEATED
    assert told(records, made.channel) == [message]
    assert told(records, other.channel) == []
    assert Rounds(records, lambda _: DUE, VirtualClock(now_ms), [], 0.0).go() == 0


def test_after_a_start_nothing_is_said_again_before_it_is_known_to_hold(records: Records) -> None:
    clock = VirtualClock(ALERT.told_at_ms[0] + 13 * HOUR_MS)
    records.save_judgement([ALERT], [], [], [])
    waiting = Rounds(records, lambda _: None, clock, ["email"], 12.0)
    assert waiting.go() == 0
    clock.set_ms(clock.now_ms() + SETTLE_MS)
    assert waiting.go() == 1


def test_what_was_seen_while_it_waited_is_not_said_again(records: Records) -> None:
    """In quiet hours what is high waits when it is said again; what is critical does not."""
    now_ms = ALERT.told_at_ms[0] + 12 * HOUR_MS  # noon
    critical = replace(ALERT, id="a2", priority=Priority.CRITICAL, bin="sorrel")
    records.save_judgement([ALERT, critical], [], [], [])
    assert rounds(records, now_ms).go() == 2

    class Listed:
        name = "email"

        def send(self, message: Message, now_ms: int) -> None:
            assert message.bin == "sorrel"

    quiet = QuietHours.of("11:00-13:00")
    courier = Courier(records, [Listed()], VirtualClock(now_ms), quiet=quiet)
    assert courier.drain_once(now_ms) == Drained(sent=1)
    records.acknowledge(ALERT.id, "Ash", now_ms + MINUTE_MS)
    assert courier.drain_once(now_ms + HOUR_MS) == Drained()
    assert records.waiting_count() == 0


def test_what_is_told_when_a_bin_is_put_back_is_not_said_again_at_once(records: Records) -> None:
    begin_ms = ALERT.told_at_ms[0]
    first = replace(TOLD, key=f"{ALERT.id}:raised", alert_id=ALERT.id, bin="tansy", at_ms=begin_ms)
    records.take_out("tansy", begin_ms + 13 * HOUR_MS, "Ash", "", begin_ms - HOUR_MS)
    records.save_judgement([ALERT], [], [first], ["email"])
    clock = VirtualClock(begin_ms + HOUR_MS)
    going = Rounds(records, lambda _: DUE, clock, ["email"], 12.0)
    assert going.go() == 0
    clock.set_ms(begin_ms + 13 * HOUR_MS)
    assert going.go() == 1
    assert [one.event for one in told(records, "email")] == [Occasion.ALERT_RAISED]
    clock.set_ms(begin_ms + 25 * HOUR_MS)
    assert going.go() == 1
    assert told(records, "email")[-1].event == Occasion.ALERT_REPEATED


def test_who_waits_hears_it_again_only_after_hearing_it(records: Records) -> None:
    made = route(records, 0, unacknowledged_min=24 * 60)
    records.save_judgement([ALERT], [], [], [])
    rounds(records, ALERT.told_at_ms[0] + 13 * HOUR_MS).go()
    assert told(records, made.channel) == []
    first = replace(TOLD, key=f"{ALERT.id}:raised", alert_id=ALERT.id, bin="tansy")
    records.save_judgement([], [], [first], [])
    (row,) = records.due_deliveries(9**15, 9, made.channel)
    records.delivered(row.id, 1)
    rounds(records, ALERT.told_at_ms[0] + 25 * HOUR_MS).go()
    assert [one.event for one in told(records, made.channel)] == [Occasion.ALERT_REPEATED]


def test_a_service_that_was_down_at_the_hour_mails_one_digest(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    folder.mkdir()
    opened = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
    opened.save_setup(PLACE)
    opened.add_person("Ash", "keeper", "herd under the lid")
    over = replace(ALERT, state=AlertState.RETURNED, returned_at_ms=SEVEN_MS - HOUR_MS)
    opened.save_judgement([over], [], [], [])
    rules = RouteRules(digest_hour=7)
    opened.add_route("Ash", "ash@bins.example", "e-mail", "", rules, SEVEN_MS - 9 * DAY_MS)
    with mail_sink() as mail:
        for _ in range(2):
            given = {"start_ms": SEVEN_MS + 2 * HOUR_MS, "speed": 60.0, "smtp_url": mail.address()}
            running = Running(folder, **given)
            wait_until(lambda: mail.mails)
            running.stop()
        assert [one["Subject"] for one in mail.mails] == ["Underlid today: 1 over"]
        assert "Tansy: no longer too warm, since 06:00" in mail.text()
    opened.close()
