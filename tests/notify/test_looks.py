"""The note to look, posted and sent: to whom, once, and after an outage."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from alerts.test_look import DUE_MS, FED_MS, MELON
from notify.sinks import web_sink
from service.running import Running
from storage.records_places import PLACE, fresh
from underlid.alerts.alert import Message
from underlid.alerts.quiet import QuietHours
from underlid.alerts.routes import RouteRules
from underlid.clock import VirtualClock
from underlid.config import Settings
from underlid.journal.entries import Entry, Sighting
from underlid.journal.units import SI
from underlid.notify.addresses import RouteChannels
from underlid.notify.outbox import Courier, Drained
from underlid.notify.rounds import QUARTER_MS, Rounds
from underlid.notify.webhook import Webhook
from underlid.rules.finding import Priority
from underlid.storage.records import Records
from underlid.timeline import DAY_MS, HOUR_MS
from waiting import wait_until

MORNING_MS = DUE_MS + HOUR_MS  # the shed of these tests keeps UTC
FED = Entry("f1", "tansy", FED_MS, FED_MS, MELON)


def rounds(records: Records, now_ms: int, *channels: str, days: int = 7) -> Rounds:
    return Rounds(records, lambda _: {}, VirtualClock(now_ms), channels, 0.0, SI, days)


def told(records: Records, channel: str) -> list[Message]:
    return [one.message for one in records.due_deliveries(9**15, 99, channel)]


def test_it_goes_once_over_every_channel_and_to_who_takes_low_priority() -> None:
    with fresh() as records:
        records.add_person("Ash", "keeper", "herd under the lid")
        given: list[dict[str, Any]] = [
            {},
            {"unacknowledged_min": 60},
            {"least": Priority.HIGH},
            {"bins": ("sorrel",)},
        ]
        channels = [
            records.add_route("Ash", "json://h/x", "json", "", RouteRules(**one), 0).channel
            for one in given
        ]
        records.add_entry(FED)
        assert rounds(records, MORNING_MS, "email", days=0).go() == 0
        workers = [rounds(records, MORNING_MS, "email") for _ in range(2)]
        assert [worker.go() for worker in (*workers, *workers)] == [1, 0, 0, 0]
        assert rounds(records, MORNING_MS + DAY_MS, "email", "webhook").go() == 0
        assert [len(told(records, name)) for name in ("email", "webhook")] == [1, 0]
        assert [len(told(records, name)) for name in channels] == [1, 1, 0, 0]
        assert told(records, channels[1]) == told(records, "email")


def test_a_worker_finds_it_when_its_morning_has_come_unless_somebody_looked() -> None:
    with fresh() as records:
        clock = VirtualClock(MORNING_MS - 1)
        worker = Rounds(records, lambda _: {}, clock, ["email"], 0.0, SI, 7)
        records.add_entry(FED)
        assert worker.go() == 0
        clock.set_ms(MORNING_MS)
        records.add_entry(Entry("s1", "tansy", MORNING_MS - HOUR_MS, MORNING_MS, Sighting()))
        assert worker.go() == 0
        records.withdraw_entry("s1", "Ash", MORNING_MS)
        clock.set_ms(MORNING_MS + QUARTER_MS)
        assert worker.go() == 1


def test_it_waits_for_quiet_hours_to_end_and_is_sent_where_an_address_waits_for_others() -> None:
    with fresh() as records, web_sink() as hook:
        records.add_person("Ash", "keeper", "herd under the lid")
        rules, own = RouteRules(unacknowledged_min=60), f"json://127.0.0.1:{hook.port}/own"
        records.add_route("Ash", own, "json", "", rules, 0)
        records.add_entry(FED)
        rounds(records, MORNING_MS, "webhook").go()
        routes, quiet = RouteChannels(records, Settings()), QuietHours.of("22:00-09:00")
        webhook = Webhook(hook.address(), "key")
        courier = Courier(records, [webhook], VirtualClock(0), None, quiet, routes)
        assert courier.drain_once(MORNING_MS) == Drained()
        assert courier.drain_once(MORNING_MS + HOUR_MS) == Drained(sent=2)
        assert {path for path, _, _ in hook.requests} == {"/hook", "/own"}


def test_the_service_posts_it_to_the_webhook_after_an_outage_and_not_again(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    folder.mkdir()
    records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
    records.save_setup(PLACE)
    records.add_entry(FED)
    records.add_entry(Entry("f2", "sorrel", FED_MS + DAY_MS, FED_MS + DAY_MS, MELON))
    with web_sink() as hook:
        for count, start_ms in ((1, MORNING_MS + 9 * HOUR_MS), (2, MORNING_MS + DAY_MS + HOUR_MS)):
            given = {"start_ms": start_ms, "speed": 60.0, "webhook_url": hook.address()}
            running = Running(folder, **given)
            try:
                wait_until(lambda count=count: len(hook.requests) >= count)
            finally:
                running.stop()
        bodies = [json.loads(body) for _, _, body in hook.requests]
    assert [(one["id"], one["event"], one["bin"], one["alert"]) for one in bodies] == [
        ("look_now:f1", "look_now", "tansy", ""),
        ("look_now:f2", "look_now", "sorrel", ""),
    ]
    assert bodies[0]["priority"] == "low"
    assert bodies[0]["text"].startswith("A week ago 3.2 kg melon went into Tansy: lift the cover")
    records.close()


def test_of_a_bin_that_is_out_of_service_nobody_is_asked_to_look_until_it_is_put_back() -> None:
    with fresh() as records:
        records.add_entry(FED)
        records.take_out("tansy", MORNING_MS + HOUR_MS, "Ash", "painted", FED_MS)
        assert rounds(records, MORNING_MS, "email").go() == 0
        assert rounds(records, MORNING_MS + HOUR_MS, "email").go() == 1
        assert len(told(records, "email")) == 1
