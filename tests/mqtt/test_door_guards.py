"""The guards of the door over TCP: time, number, rate, slow and silent clients."""

from __future__ import annotations

import time

from mqtt.loopback import (
    STATE,
    STATUS,
    RunningDoor,
    Wire,
    puback,
    reading,
    wire,
)
from mqtt.writers import MemoryWriter
from underlid.mqtt.door import Limits
from underlid.mqtt.packets import (
    V5,
    Connack,
    Disconnect,
    Kind,
    Publish,
    Reason,
    Subscribe,
    SubscribeAcknowledge,
    Subscription,
    Will,
)
from waiting import wait_until


def test_a_client_that_sends_no_connect_is_closed(house: RunningDoor) -> None:
    began = time.monotonic()
    with wire(house) as probe:
        assert probe.next() is None
    assert time.monotonic() - began > 4.5
    assert house.door.counts.refused["no_connect"] == 1


def test_a_silent_client_is_closed_and_its_will_is_stored(
    writer: MemoryWriter, house: RunningDoor
) -> None:
    with wire(house) as probe:
        probe.connect(keep_alive_s=1, will=Will(STATUS, b"offline", 1, True))
        assert probe.next() is None
    wait_until(lambda: writer.payloads() == [b"offline"])
    assert writer.messages[0].topic == STATUS


def test_a_lost_connection_leaves_its_will_and_a_disconnect_does_not(
    writer: MemoryWriter, house: RunningDoor
) -> None:
    for polite in (True, False):
        with wire(house) as probe:
            probe.connect(will=Will(STATUS, b"offline"))
            if polite:
                probe.send(Disconnect())
                assert probe.next() is None
    wait_until(lambda: writer.payloads() == [b"offline"])


def test_the_same_client_takes_over_and_another_user_does_not(
    writer: MemoryWriter, house: RunningDoor
) -> None:
    with wire(house, V5) as old, wire(house, V5) as stranger, wire(house, V5) as new:
        old.connect(client_id="same", will=Will(STATUS, b"offline"))
        stranger.connect("tansy-1", client_id="same")
        assert old.is_alive()
        new.connect(client_id="same")
        new.send(Publish(STATUS, b"online", 1, 1))
        told = old.next()
        assert isinstance(told, Disconnect)
        assert told.code == Reason.SESSION_TAKEN_OVER
        assert new.next() == puback(1)
        assert stranger.is_alive()
    assert writer.payloads()[:2] == [b"offline", b"online"]


def test_half_open_connections_make_room_for_new_ones(writer: MemoryWriter) -> None:
    with RunningDoor(writer, limits=Limits(half_open=3)) as house:
        idle = [Wire(house.port) for _ in range(3)]
        wait_until(lambda: house.door.counts.open == 3)
        with wire(house) as probe:
            assert probe.connect() == Connack(0)
        assert idle[0].next() is None
        assert idle[2].connect(client_id="late") == Connack(0)
        for one in idle:
            one.close()


def test_connections_over_the_limit_are_closed(writer: MemoryWriter) -> None:
    with RunningDoor(writer, limits=Limits(connections=2)) as house:
        with wire(house) as one, wire(house) as two:
            one.connect(client_id="one")
            two.connect(client_id="two")
            with wire(house) as three:
                assert three.next() is None
            assert house.door.counts.refused["connections"] == 1
        wait_until(lambda: house.door.counts.open == 0)
        with wire(house) as again:
            assert again.connect() == Connack(0)


def test_a_client_above_its_rate_is_slowed_and_loses_nothing(writer: MemoryWriter) -> None:
    limits = Limits(messages_per_s=100, burst=50)
    with RunningDoor(writer, limits=limits) as house, wire(house) as probe:
        probe.connect()
        began = time.monotonic()
        for start in range(1, 121, 10):
            probe.send(*(reading(number) for number in range(start, start + 10)))
            probe.take(10)
        assert time.monotonic() - began > 0.5
    assert len(writer.messages) == 120


def test_unacknowledged_messages_of_one_client_are_bounded(writer: MemoryWriter) -> None:
    writer.gate.clear()
    with RunningDoor(writer, limits=Limits(in_flight=100)) as house, wire(house) as probe:
        probe.connect()
        for start in range(1, 10_000, 500):
            probe.send(*(reading(number) for number in range(start, start + 500)))
        wait_until(lambda: house.door.counts.messages >= 100)
        time.sleep(0.3)
        assert house.door.counts.messages < 9000
        writer.gate.set()
        probe.take(10_000)
    assert len(writer.messages) == 10_000


def test_a_slow_reader_is_given_less_and_then_the_newest_state(
    writer: MemoryWriter, house: RunningDoor
) -> None:
    slow = Wire(house.port)
    slow.connect("keeper")
    slow.send(Subscribe(1, (Subscription("underlid/v1/+/state/#"),)))
    assert slow.next() == SubscribeAcknowledge(Kind.SUBACK, 1, (0,))
    big = b"x" * 200_000

    def publish_all() -> None:
        for number in range(200):
            house.door.publish(STATE, b"%03d" % number + big, retain=True)
        house.door.publish(STATE, b"newest", retain=True)

    house.call(publish_all)
    last: object = None
    seen = 0
    while not (isinstance(last, Publish) and last.payload == b"newest"):
        last = slow.next()
        seen += 1
    assert seen < 200
    slow.close()
