"""Quiet hours: what can wait is told when they end, on the shed's wall clock, and nothing is lost."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from notify.messages import AT_MS, TOLD, post
from notify.sinks import web_sink
from service.running import Running
from underlid.alerts.alert import Message
from underlid.alerts.quiet import QuietHours
from underlid.binmodel.bins import Shed
from underlid.clock import VirtualClock
from underlid.config import load
from underlid.errors import UnderlidError
from underlid.notify.outbox import Courier, Drained
from underlid.rules.finding import Priority
from underlid.storage.records import Records
from underlid.timeline import HOUR_MS, MINUTE_MS, parse_time_ms
from waiting import wait_until

NIGHT = QuietHours.of("22:00-07:00")


class Listed:
    """A channel that keeps what it was handed."""

    name = "listed"

    def __init__(self) -> None:
        self.keys: list[str] = []

    def send(self, message: Message, now_ms: int) -> None:
        self.keys.append(message.key)


@pytest.mark.parametrize(
    ("said", "at", "zone", "ends"),
    [
        ("22:00-07:00", "2026-05-01T21:30:00Z", "UTC", None),
        ("22:00-07:00", "2026-05-01T21:30:00Z", "Europe/London", "2026-05-02T06:00:00Z"),
        ("22:00-07:00", "2026-05-02T05:59:00Z", "Europe/London", "2026-05-02T06:00:00Z"),
        ("22:00-07:00", "2026-05-02T06:00:00Z", "Europe/London", None),
        ("13:00-14:30", "2026-05-02T13:00:00Z", "UTC", "2026-05-02T14:30:00Z"),
        ("13:00-14:30", "2026-05-02T12:59:00Z", "UTC", None),
        ("22:00-07:00", "2026-10-24T23:30:00Z", "Europe/London", "2026-10-25T07:00:00Z"),
        ("22:00-01:30", "2026-10-25T00:10:00Z", "Europe/London", "2026-10-25T00:30:00Z"),
        ("22:00-01:30", "2026-10-25T01:10:00Z", "Europe/London", "2026-10-25T01:30:00Z"),
        ("22:00-01:30", "2026-03-29T00:10:00Z", "Europe/London", "2026-03-29T01:30:00Z"),
        ("07:00-07:00", "2026-05-02T07:00:00Z", "UTC", None),
    ],
)
def test_quiet_hours_end_by_the_wall_clock(said: str, at: str, zone: str, ends: str | None) -> None:
    quiet = QuietHours.of(said)
    assert quiet is not None
    until_ms = quiet.until_ms(parse_time_ms(at), ZoneInfo(zone))
    assert until_ms == (None if ends is None else parse_time_ms(ends))


def test_what_can_wait_waits_and_is_told_once_in_the_morning(tmp_path: Path) -> None:
    records = Records.open(f"sqlite:///{tmp_path / 'records.db'}")
    records.save_shed(Shed("potting", timezone="Europe/London"))
    listed = Listed()
    courier = Courier(records, [listed], VirtualClock(AT_MS), quiet=NIGHT)
    post(records, ["listed"])
    urgent = replace(TOLD, key="urgent", priority=Priority.HIGH)
    records.save_judgement([], [], [urgent], ["listed"])
    night_ms = AT_MS + 4 * HOUR_MS  # 23:30 in London
    assert datetime.fromtimestamp(night_ms / 1000, UTC).hour == 22
    assert courier.drain_once(night_ms) == Drained(sent=1)
    assert listed.keys == ["urgent"]
    morning_ms = parse_time_ms("2026-05-02T06:00:00Z")
    assert courier.drain_once(morning_ms - MINUTE_MS) == Drained()
    assert courier.drain_once(morning_ms) == Drained(sent=1)
    assert courier.drain_once(morning_ms + HOUR_MS) == Drained()
    assert listed.keys == ["urgent", TOLD.key]
    records.close()


def test_the_service_keeps_the_hours_that_are_set(tmp_path: Path) -> None:
    """What can wait is older, so the courier has come to it before what is urgent arrives."""
    folder = tmp_path / "data"
    folder.mkdir()
    records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
    records.save_shed(Shed("potting"))
    post(records, ["webhook"])
    urgent = replace(TOLD, key="urgent", at_ms=AT_MS + 1, priority=Priority.HIGH)
    records.save_judgement([], [], [urgent], ["webhook"])
    night_ms = parse_time_ms("2026-05-01T22:30:00Z")
    with web_sink() as hook:
        more = {"webhook_url": hook.address(), "webhook_secret": "a key to sign with"}
        running = Running(folder, start_ms=night_ms, quiet_hours="22:00-07:00", **more)
        wait_until(lambda: hook.requests)
        running.stop()
    assert [json.loads(body)["id"] for _, _, body in hook.requests] == ["urgent"]
    assert records.waiting_count() == 1
    records.close()


@pytest.mark.parametrize("said", ["22-7", "22:00-24:00", "at night", "22:00-07:00 "])
def test_other_words_are_refused_with_an_example(tmp_path: Path, said: str) -> None:
    with pytest.raises(UnderlidError, match="22:00-07:00"):
        load(data=tmp_path, quiet_hours=said)
    with pytest.raises(ValueError, match="22:00-07:00"):
        QuietHours.of(said)
