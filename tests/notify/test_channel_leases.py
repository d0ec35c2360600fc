"""Several couriers on one PostgreSQL: each channel is served by one of them at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from programs import require
from storage.postgres import cluster
from storage.test_records_alerts import TOLD
from underlid.alerts.alert import Message
from underlid.alerts.routes import RouteRules
from underlid.clock import VirtualClock
from underlid.config import Settings
from underlid.notify.addresses import RouteChannels
from underlid.notify.outbox import Courier
from underlid.storage.records import Records
from underlid.workers.sharing import Sharing
from waiting import wait_until

NOW_MS = TOLD.at_ms
LEASE_S = 600.0


class Listener:
    """A channel that takes everything; `before` is called with each message in hand."""

    def __init__(self, name: str, taken: list[str]) -> None:
        self.name = name
        self.taken = taken
        self.before = lambda: None

    def send(self, message: Message, now_ms: int) -> None:
        self.before()
        self.taken.append(message.key)


@pytest.fixture
def records() -> Iterator[Records]:
    require("initdb")
    address = cluster().borrow()
    opened = Records.open(address)
    yield opened
    opened.close()
    cluster().give_back(address)


def post(records: Records, *keys: str) -> None:
    records.save_judgement([], [], [replace(TOLD, key=key) for key in keys], ["email"])


def test_of_two_couriers_one_delivers_and_the_other_when_it_is_gone(records: Records) -> None:
    taken: dict[str, list[str]] = {"a": [], "b": []}
    sharing = {name: Sharing(records, name, LEASE_S) for name in taken}
    couriers = {
        name: Courier(
            records, [Listener("email", taken[name])], VirtualClock(NOW_MS), sharing[name]
        )
        for name in taken
    }
    sharing["a"].start()
    post(records, "one", "two")
    assert couriers["a"].drain_once(NOW_MS).sent == 2
    post(records, "three")
    assert couriers["b"].drain_once(NOW_MS).sent == 0
    sharing["a"].stop()
    assert couriers["b"].drain_once(NOW_MS).sent == 1
    assert taken == {"a": ["one", "two"], "b": ["three"]}
    sharing["b"].stop()


def test_a_courier_that_slept_over_its_lease_marks_nothing(records: Records) -> None:
    taken: list[str] = []
    slow, quick = Listener("email", taken), Listener("email", taken)
    asleep, awake = Sharing(records, "asleep", LEASE_S), Sharing(records, "awake", LEASE_S)
    first = Courier(records, [slow], VirtualClock(NOW_MS), asleep)
    second = Courier(records, [quick], VirtualClock(NOW_MS), awake)

    def sleep() -> None:
        records.renew("asleep", asleep._all(), -1)
        slow.before = lambda: None
        assert second.drain_once(NOW_MS).sent == 2

    slow.before = sleep
    post(records, "one", "two")
    assert first.drain_once(NOW_MS).sent == 0
    assert taken == ["one", "two", "one"]
    assert records.waiting_count() == 0


def test_messages_for_a_channel_that_another_worker_has_are_not_given_up(records: Records) -> None:
    sharing = Sharing(records, "a", 60.0)
    sharing.share("channel", ["email"])
    post(records, "one")
    other = Courier(records, [], VirtualClock(NOW_MS), Sharing(records, "b", 60.0))
    assert other.drain_once(NOW_MS).given_up == 0
    sharing.stop()
    assert other.drain_once(NOW_MS).given_up == 1


def test_an_address_that_is_removed_leaves_no_lease_at_any_worker(records: Records) -> None:
    records.add_person("Ash", "keeper", "herd under the lid")
    made = records.add_route("Ash", "json://127.0.0.1:1/in", "json", "", RouteRules(), NOW_MS)
    sharing = [Sharing(records, name, LEASE_S) for name in ("a", "b")]
    couriers = [
        Courier(records, [], VirtualClock(NOW_MS), one, routes=RouteChannels(records, Settings()))
        for one in sharing
    ]
    for courier in couriers:
        courier.drain_once(NOW_MS)
    assert list(records.holders("channel")) == [made.channel]
    records.remove_route(made.id)
    assert records.holders("channel") == {}
    sharing[1].share("channel", [made.channel])  # it had not looked yet
    couriers[1].start()
    wait_until(lambda: records.holders("channel") == {})
    couriers[1].stop()
    for one in sharing:
        one.stop()
