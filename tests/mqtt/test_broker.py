"""Reading from a real mosquitto that runs with the shipped configuration."""

from __future__ import annotations

import asyncio
import json
import ssl
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from mqtt.brokers import PASSWORDS, Mosquitto, Reading, probe
from mqtt.certificates import certificate
from mqtt.loopback import SECRETS, STATE, TOPIC, RunningDoor
from mqtt.writers import MemoryWriter
from underlid.errors import UnderlidError
from underlid.mqtt.broker import FILTERS, BrokerClient, BrokerPlace
from waiting import WAIT_S, wait_until


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    made = Mosquitto(tmp_path)
    made.start()
    yield made
    made.stop()


def leave(client: Client) -> None:
    client.disconnect()
    client.loop_stop()


def send(client: Client, numbers: range) -> None:
    sent = [client.publish(TOPIC, b'{"bed_temp_c":1,"seq":%d}' % n, qos=1) for n in numbers]
    for one in sent:
        one.wait_for_publish(WAIT_S)


def numbers_in(writer: MemoryWriter) -> list[int]:
    return [json.loads(payload)["seq"] for payload in writer.payloads()]


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_messages_are_stored_in_order_and_confirmed(
    writer: MemoryWriter, mosquitto: Mosquitto, protocol: str
) -> None:
    confirmed: list[int] = []

    def on_message(_client: Client, _data: Any, message: MQTTMessage) -> None:
        for first, last in json.loads(message.payload)["ranges"]:
            confirmed.extend(range(first, last + 1))

    with Reading(writer, mosquitto, protocol=protocol) as reading:
        assert reading.subscribed.wait(WAIT_S)
        client = probe(mosquitto, on_message=on_message)
        client.subscribe("underlid/v1/potting/sorrel-1/confirm", 1)
        send(client, range(2000))
        wait_until(lambda: len(writer.messages) == 2000)
        wait_until(lambda: sorted(confirmed) == list(range(2000)))
        leave(client)
        assert reading.counts.acknowledged == 2000
    assert numbers_in(writer) == list(range(2000))


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_what_comes_while_the_service_is_away_waits(
    writer: MemoryWriter, mosquitto: Mosquitto, protocol: str
) -> None:
    with Reading(writer, mosquitto, protocol=protocol) as reading:
        assert reading.subscribed.wait(WAIT_S)
    client = probe(mosquitto)
    send(client, range(1500))
    leave(client)
    with Reading(writer, mosquitto, protocol=protocol):
        wait_until(lambda: len(writer.messages) == 1500)
    assert numbers_in(writer) == list(range(1500))


def test_what_was_not_committed_comes_again(writer: MemoryWriter, mosquitto: Mosquitto) -> None:
    with Reading(writer, mosquitto) as reading:
        assert reading.subscribed.wait(WAIT_S)
        writer.error = OSError("the disk is full")
        client = probe(mosquitto)
        send(client, range(50))
        leave(client)
        wait_until(lambda: reading.counts.not_stored > 0)
        assert reading.counts.acknowledged == 0
    writer.error = None
    with Reading(writer, mosquitto):
        wait_until(lambda: set(numbers_in(writer)) == set(range(50)))


def test_a_commit_that_fails_for_a_while_is_tried_again(
    writer: MemoryWriter, mosquitto: Mosquitto
) -> None:
    writer.full = True
    with Reading(writer, mosquitto) as reading:
        assert reading.subscribed.wait(WAIT_S)
        client = probe(mosquitto)
        send(client, range(10))
        writer.error = OSError("the disk is full")  # before there is room: no batch slips through
        writer.full = False
        wait_until(lambda: reading.counts.not_stored > 0)
        writer.error = None
        wait_until(lambda: numbers_in(writer) == list(range(10)))
        leave(client)


def test_a_restarted_broker_is_found_again(writer: MemoryWriter, mosquitto: Mosquitto) -> None:
    with Reading(writer, mosquitto) as reading:
        assert reading.subscribed.wait(WAIT_S)
        reading.publish(STATE, b'{"bin":"tansy"}', retain=True)
        mosquitto.stop()
        wait_until(lambda: not reading.connected.is_set())
        reading.publish(STATE, b'{"bin":"tansy","at":2}', retain=True)
        mosquitto.start()
        assert reading.subscribed.wait(WAIT_S)
        states: list[bytes] = []
        client = probe(mosquitto, "keeper", lambda _c, _d, m: states.append(m.payload))
        client.subscribe("underlid/v1/+/state/+", 1)
        wait_until(lambda: b'{"bin":"tansy","at":2}' in states)
        leave(client)
        client = probe(mosquitto)
        send(client, range(20))
        wait_until(lambda: len(writer.messages) == 20)
        leave(client)


def test_a_burst_larger_than_the_stock_queue_is_kept(
    writer: MemoryWriter, mosquitto: Mosquitto
) -> None:
    """With the stock 1000 mosquitto would drop most of these after acknowledging them."""
    writer.gate.clear()
    with Reading(writer, mosquitto) as reading:
        assert reading.subscribed.wait(WAIT_S)
        client = probe(mosquitto)
        send(client, range(6000))
        leave(client)
        writer.gate.set()
        wait_until(lambda: len(writer.messages) == 6000)
    assert numbers_in(writer) == list(range(6000))


def test_hostile_messages_are_stored_as_rejected_and_stop_nothing(
    writer: MemoryWriter, mosquitto: Mosquitto
) -> None:
    with Reading(writer, mosquitto) as reading:
        assert reading.subscribed.wait(WAIT_S)
        client = probe(mosquitto)
        for payload in (b"", b"\xff" * 100, b"[" * 60_000, b"{" * 1000):
            client.publish(TOPIC, payload, qos=1)
        send(client, range(3))
        wait_until(lambda: len(writer.messages) == 7)
        leave(client)


def test_the_shipped_rights_bind_a_probe_to_its_id(
    writer: MemoryWriter, mosquitto: Mosquitto
) -> None:
    with Reading(writer, mosquitto) as reading:
        assert reading.subscribed.wait(WAIT_S)
        client = probe(mosquitto, "tansy-1")
        for topic in (TOPIC, "underlid/v1/potting/tansy-1/json", STATE, "other"):
            client.publish(topic, b'{"bed_temp_c":1}', qos=1).wait_for_publish(WAIT_S)
        wait_until(lambda: len(writer.messages) == 1)
        leave(client)
    assert writer.messages[0].topic == "underlid/v1/potting/tansy-1/json"


def test_new_users_are_read_without_dropping_anyone(mosquitto: Mosquitto) -> None:
    dropped: list[object] = []
    client = probe(mosquitto)
    client.on_disconnect = lambda *more: dropped.append(more)
    mosquitto.set_password("quince-1", "new-secret")
    mosquitto.reload()
    late = Client(CallbackAPIVersion.VERSION2)
    late.username_pw_set("quince-1", "new-secret")
    codes: list[str] = []
    late.on_connect = lambda _c, _d, _f, code, _p: codes.append(str(code))
    late.connect("127.0.0.1", mosquitto.port)
    late.loop_start()
    wait_until(lambda: "Success" in codes)  # paho tries again until the file has been read
    assert not dropped
    leave(late)
    leave(client)


def test_a_wrong_password_is_counted_and_tried_again(
    writer: MemoryWriter, mosquitto: Mosquitto
) -> None:
    with Reading(writer, mosquitto, password="wrong") as reading:
        wait_until(lambda: reading.counts.refused["connect"] >= 1)
        assert not reading.connected.is_set()


def test_what_the_broker_will_not_let_us_read_is_told(writer: MemoryWriter) -> None:
    """A door stands for that broker: it lets nobody read what probes publish."""
    with RunningDoor(writer) as door:
        place = BrokerPlace("127.0.0.1", door.port, "probes", SECRETS["probes"])
        client = BrokerClient(writer, place)
        asyncio.run(client.start())
        wait_until(lambda: client.counts.refused["subscribe"] == len(FILTERS))
        assert client.connected.is_set()
        assert not client.subscribed.is_set()
        asyncio.run(client.stop())


def test_tls_to_the_broker(writer: MemoryWriter, tmp_path: Path) -> None:
    chain, key = certificate(tmp_path)
    broker = Mosquitto(tmp_path)
    text = broker.settings.read_text()
    line = f"listener {broker.port} 127.0.0.1\n"
    broker.settings.write_text(text.replace(line, f"{line}certfile {chain}\nkeyfile {key}\n"))
    broker.start()
    try:
        with Reading(writer, broker, tls=True, tls_ca=chain) as reading:
            assert reading.subscribed.wait(WAIT_S)
            client = Client(CallbackAPIVersion.VERSION2)
            client.username_pw_set("probes", PASSWORDS["probes"])
            client.tls_set_context(ssl.create_default_context(cafile=chain))
            client.connect("127.0.0.1", broker.port)
            client.loop_start()
            send(client, range(5))
            wait_until(lambda: len(writer.messages) == 5)
            leave(client)
    finally:
        broker.stop()


def test_a_missing_authority_is_said_in_one_sentence(writer: MemoryWriter, tmp_path: Path) -> None:
    place = BrokerPlace("127.0.0.1", tls=True, tls_ca=tmp_path / "none.pem")
    with pytest.raises(UnderlidError, match="certificate authority of the broker"):
        BrokerClient(writer, place)
