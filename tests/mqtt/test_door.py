"""The door over TCP: acknowledge after the commit; states out; a good end."""

from __future__ import annotations

import socket
import struct
import time

import pytest

from mqtt.loopback import (
    GRANTS,
    SECRETS,
    STATE,
    STATUS,
    TOPIC,
    RunningDoor,
    Wire,
    puback,
    reading,
    wire,
)
from mqtt.writers import MemoryWriter
from underlid.errors import UnderlidError
from underlid.mqtt.door import Door
from underlid.mqtt.grants import Grants, secret_hash
from underlid.mqtt.packets import (
    V5,
    V311,
    Connack,
    Connect,
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


def test_nothing_is_acknowledged_before_the_commit(
    writer: MemoryWriter, house: RunningDoor
) -> None:
    writer.gate.clear()
    with wire(house) as probe:
        probe.connect()
        probe.send(reading(1), reading(2))
        assert probe.silent_for(0.2)
        writer.gate.set()
        assert probe.take(2) == [puback(1), puback(2)]
    assert writer.payloads() == [reading(1).payload, reading(2).payload]


def test_acknowledgements_keep_their_order_over_many_commits(
    writer: MemoryWriter, house: RunningDoor
) -> None:
    with wire(house) as probe:
        probe.connect()
        for start in range(1, 600, 3):
            probe.send(*(reading(number) for number in range(start, start + 3)))
        assert probe.take(600) == [puback(number) for number in range(1, 601)]
    assert len(writer.messages) == 600


def test_a_flush_with_an_early_disconnect_is_stored_and_acknowledged(
    writer: MemoryWriter, house: RunningDoor
) -> None:
    with wire(house) as probe:
        probe.connect()
        probe.send(*(reading(number) for number in range(1, 21)), Disconnect())
        assert probe.take(21) == [*(puback(number) for number in range(1, 21)), None]
    assert len(writer.messages) == 20


def test_a_half_closed_client_still_gets_its_acknowledgements(
    writer: MemoryWriter, house: RunningDoor
) -> None:
    writer.gate.clear()
    with wire(house) as probe:
        probe.connect()
        probe.send(reading(1))
        probe.socket.shutdown(socket.SHUT_WR)
        time.sleep(0.1)
        writer.gate.set()
        assert probe.take(2) == [puback(1), None]


@pytest.mark.parametrize("version", [V311, V5])
def test_a_commit_that_fails_is_not_acknowledged(
    version: int, writer: MemoryWriter, house: RunningDoor
) -> None:
    writer.error = OSError("the disk is full")
    with wire(house, version) as probe:
        probe.connect()
        probe.send(reading(1))
        told = probe.next()
        if version == V5:
            assert isinstance(told, Disconnect)
            assert told.code == Reason.QUOTA_EXCEEDED
            told = probe.next()
        assert told is None
    assert house.door.counts.not_stored == 1
    writer.error = None
    with wire(house, version) as probe:
        probe.connect()
        probe.send(reading(1))
        assert probe.next() == puback(1)


def test_a_full_writer_stops_the_reading_and_loses_nothing(
    writer: MemoryWriter, house: RunningDoor
) -> None:
    writer.full = True
    with wire(house) as probe, wire(house) as other:
        probe.connect()
        other.connect(client_id="other")
        probe.send(*(reading(number) for number in range(1, 51)))
        assert probe.silent_for(0.2)
        other.send(reading(51))
        assert other.silent_for(0.1)
        assert house.door.counts.held_back == 1
        writer.full = False
        assert probe.take(50) == [puback(number) for number in range(1, 51)]
        assert other.next() == puback(51)
    assert len(writer.messages) == 51


def test_a_new_reader_gets_the_retained_states(house: RunningDoor) -> None:
    house.door.publish(STATE, b"old", retain=True)
    house.door.publish(STATE, b"new", retain=True)
    house.door.publish("underlid/v1/potting/alert", b"gone")
    with wire(house, V5) as reader:
        reader.connect("keeper")
        wanted = Subscription("underlid/v1/+/state/+"), Subscription("underlid/v1/+/alert")
        reader.send(Subscribe(1, wanted))
        assert isinstance(reader.next(), SubscribeAcknowledge)
        assert reader.next() == Publish(STATE, b"new", retain=True)
        house.door.publish(STATE, b"newer", retain=True)
        house.door.publish("underlid/v1/potting/alert", b"hot")
        assert reader.take(2) == [
            Publish(STATE, b"newer"),
            Publish("underlid/v1/potting/alert", b"hot"),
        ]


def test_retain_as_published_keeps_the_flag(house: RunningDoor) -> None:
    """MQTT-3.3.1-12 and -13."""
    with wire(house, V5) as reader:
        reader.connect("keeper")
        wanted = Subscription(STATE, retain_as_published=True)
        reader.send(Subscribe(1, (wanted,)))
        reader.next()
        house.door.publish(STATE, b"new", retain=True)
        assert reader.next() == Publish(STATE, b"new", retain=True)


def test_what_one_client_publishes_is_not_passed_to_another(
    writer: MemoryWriter, house: RunningDoor
) -> None:
    with wire(house) as reader, wire(house) as probe:
        reader.connect("keeper")
        reader.send(Subscribe(1, (Subscription(TOPIC), Subscription("underlid/v1/+/alert"))))
        assert reader.next() == SubscribeAcknowledge(Kind.SUBACK, 1, (0x80, 0))
        probe.connect()
        probe.send(reading(1))
        assert probe.next() == puback(1)
        assert reader.silent_for(0.1)


def test_a_numbering_probe_is_told_what_is_on_disk(house: RunningDoor) -> None:
    with wire(house) as probe:
        probe.connect()
        probe.send(Subscribe(1, (Subscription("underlid/v1/potting/sorrel-1/confirm"),)))
        probe.next()
        probe.send(*(reading(number) for number in (5, 6, 7, 9)))
        come = probe.take(5)
    told = next(one for one in come if isinstance(one, Publish))
    assert told.topic == "underlid/v1/potting/sorrel-1/confirm"
    assert told.payload == b'{"ranges":[[5,7],[9,9]]}'


def test_malformed_bytes_close_one_connection_only(
    writer: MemoryWriter, house: RunningDoor
) -> None:
    with wire(house) as good:
        good.connect()
        for garbage in (b"\x00\x00", b"\xff" * 50, b"GET / HTTP/1.1\r\n\r\n", b"\x16\x03\x01"):
            with wire(house) as bad:
                bad.connect(client_id="bad")
                bad.socket.sendall(garbage + bytes(200))
                assert bad.next() is None
        assert good.is_alive()
    assert house.door.counts.refused["malformed"] >= 3


def test_200_connections_that_are_reset_do_no_harm(house: RunningDoor) -> None:
    """CONNECT and then a TCP reset, 200 times; the next client gets its CONNACK."""
    from underlid.mqtt.encoding import encode

    hello = encode(Connect(V311, "wire", user="probes", password=b"household-secret"), V311)
    for _ in range(200):
        probe = socket.create_connection(("127.0.0.1", house.port))
        probe.sendall(hello)
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        probe.close()
    with wire(house) as probe_after:
        assert probe_after.connect() == Connack(0)
        assert probe_after.is_alive()
    wait_until(lambda: house.door.counts.open == 0)


def test_new_grants_take_effect_at_once(house: RunningDoor) -> None:
    hashes = {user: secret_hash(secret) for user, secret in SECRETS.items()}
    with wire(house, V5) as probe, wire(house) as other:
        probe.connect("tansy-1")
        other.connect(client_id="other")
        changed = Grants({**hashes, "tansy-1": secret_hash("new"), "quince-1": secret_hash("q")})
        house.call(lambda: house.door.set_grants(changed))
        told = probe.next()
        assert isinstance(told, Disconnect)
        assert told.code == Reason.NOT_AUTHORISED
        assert other.is_alive()
    with wire(house) as probe:
        assert probe.connect("quince-1", password=b"q") == Connack(0)


def test_a_stop_answers_what_is_at_the_writer_and_leaves_no_will(writer: MemoryWriter) -> None:
    writer.gate.clear()
    with RunningDoor(writer) as house:
        probe = Wire(house.port, V5)
        probe.connect(will=Will(STATUS, b"offline"))
        probe.send(reading(1))
        wait_until(lambda: house.door.counts.messages == 1)
        house.call(lambda: house.loop.call_later(0.2, writer.gate.set))
    assert probe.next() == puback(1)
    told = probe.next()
    assert isinstance(told, Disconnect)
    assert told.code == Reason.SERVER_SHUTTING_DOWN
    assert probe.next() is None
    assert writer.payloads() == [reading(1).payload]


def test_a_port_in_use_is_said_in_one_sentence(house: RunningDoor, writer: MemoryWriter) -> None:
    second = Door(writer, GRANTS, host="127.0.0.1", port=house.port)
    with pytest.raises(UnderlidError, match="address of the MQTT door"):
        house.wait_for(second.start())
