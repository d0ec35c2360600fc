"""Other firmware at the door and at a real broker: who may send it, and what is asked for when."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import pytest

from mqtt.brokers import Mosquitto, Reading, probe
from mqtt.loopback import SECRETS
from mqtt.sessions import NOW_MS, answers, connect, give
from mqtt.writers import MemoryWriter
from underlid.clock import SystemClock
from underlid.errors import UnderlidError
from underlid.mqtt.broker import BrokerPlace
from underlid.mqtt.endings import Ending
from underlid.mqtt.events import Arrived, Ended
from underlid.mqtt.grants import Grants, secret_hash
from underlid.mqtt.listening import KEPT_MOST, Ear
from underlid.mqtt.packets import V5, V311, Publish, Will
from underlid.mqtt.session import Session, State
from underlid.readings.mapped import Mappings
from underlid.readings.mapping import EXAMPLE_MOST_BYTES, PayloadMapping, mapping_from
from waiting import WAIT_S, wait_until

HASHES = {user: secret_hash(secret) for user, secret in SECRETS.items()}
ENV = "allotment/+/env"


def mapping(topic_filter: str = ENV, **probe_by: Any) -> PayloadMapping:
    values = [{"at": "/t", "channel": "bed_temp_c"}]
    fields = {"filter": topic_filter, "shed": "potting", "values": values}
    return mapping_from("boards", fields | (probe_by or {"probe_level": 2}))


BY_LEVEL = Grants(HASHES, Mappings({"boards": mapping()}))
BY_PAYLOAD = Grants(HASHES, Mappings({"boards": mapping(probe_at="/id")}))
FIXED = Grants(HASHES, Mappings({"boards": mapping(probe="tansy-1")}))


@pytest.mark.parametrize(
    ("grants", "user", "topic", "payload", "allowed"),
    [
        (BY_LEVEL, "tansy-1", "allotment/tansy-1/env", b"", True),
        (BY_LEVEL, "tansy-1", "allotment/Tansy 1/env", b"", True),
        (BY_LEVEL, "tansy-1", "allotment/sorrel-1/env", b"", False),
        (BY_LEVEL, "tansy-1", "orchard/tansy-1/env", b"", False),
        (BY_LEVEL, "probes", "allotment/sorrel-1/env", b"", True),
        (BY_LEVEL, "probes", "allotment/tansy-1/env", b"", False),
        (BY_LEVEL, "probes", "allotment/TANSY-1/env", b"", False),
        (BY_LEVEL, "probes", "orchard/tansy-1/env", b"", True),
        (BY_LEVEL, "keeper", "allotment/sorrel-1/env", b"", False),
        (FIXED, "tansy-1", "allotment/3/env", b"", True),
        (FIXED, "probes", "allotment/3/env", b"", False),
        (BY_PAYLOAD, "tansy-1", "allotment/3/env", b'{"id": "tansy-1"}', True),
        (BY_PAYLOAD, "tansy-1", "allotment/3/env", b'{"id": "sorrel-1"}', False),
        (BY_PAYLOAD, "probes", "allotment/3/env", b'{"id": "sorrel-1"}', True),
        (BY_PAYLOAD, "probes", "allotment/3/env", b'{"id": "Tansy 1"}', False),
        (BY_PAYLOAD, "probes", "allotment/3/env", b"{", True),
    ],
)
def test_nobody_sends_for_a_probe_with_a_secret_of_its_own(
    grants: Grants, user: str, topic: str, payload: bytes, allowed: bool
) -> None:
    assert grants.may_publish(user, topic, payload) is allowed


@pytest.mark.parametrize("version", [V311, V5])
def test_a_probe_named_in_the_payload_is_looked_at_every_time(version: int) -> None:
    session = Session(BY_PAYLOAD, lambda: "made-up")
    give(session, connect(version), version=version)
    good = Publish("allotment/3/env", b'{"id": "sorrel-1", "t": 20}', 1, packet_id=1)
    bad = Publish("allotment/3/env", b'{"id": "tansy-1", "t": 20}', 1, packet_id=2)
    events = give(session, good, bad, version=version)
    arrived = [one for event in events if isinstance(event, Arrived) for one in event.messages]
    assert [one.payload for one in arrived] == [good.payload]
    if version == V311:
        assert isinstance(events[-1], Ended)
    else:
        assert session.state is State.SERVING


def test_a_will_is_looked_at_too_and_new_mappings_count_at_once() -> None:
    will = Will("allotment/3/env", b'{"id": "tansy-1"}', 1, False)
    session = Session(BY_PAYLOAD, lambda: "made-up")
    events = give(session, connect(will=will))
    assert answers(events)[0].code != 0
    session = Session(Grants(HASHES), lambda: "made-up")
    give(session, connect())
    sent = Publish("allotment/tansy-1/env", b"{}", 1, packet_id=1)
    assert any(isinstance(event, Arrived) for event in give(session, sent))
    assert session.regrant(BY_LEVEL, NOW_MS) == []
    assert isinstance(give(session, sent)[-1], Ended)


def test_a_will_left_before_a_mapping_cannot_speak_for_a_probe_with_a_secret() -> None:
    for topic, goes_out in (("allotment/tansy-1/env", False), ("allotment/sorrel-1/env", True)):
        session = Session(Grants(HASHES), lambda: "made-up")
        give(session, connect(will=Will(topic, b'{"t": 20}', 1, False)))
        assert session.regrant(BY_LEVEL, NOW_MS) == []
        ended = session.end(Ending.LOST, "It ends.", NOW_MS)[-1]
        assert isinstance(ended, Ended)
        assert (ended.will is not None) is goes_out


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    made = Mosquitto(tmp_path)
    acl = tmp_path / "acl"
    text = acl.read_text()
    text = text.replace("user underlid\n", "user underlid\ntopic read allotment/#\n")
    acl.write_text(text.replace("user probes\n", "user probes\ntopic write allotment/#\n"))
    made.start()
    yield made
    made.stop()


def publish(client: Any, topic: str, payload: bytes, *, retain: bool = False) -> None:
    client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(WAIT_S)


def still_comes(client: Any, writer: MemoryWriter, topic: str) -> bool:
    """Tell whether a message on *topic* reaches the service before a later one of its own topics."""
    mark = str(len(writer.messages)).encode()
    publish(client, topic, b"stray " + mark)
    publish(client, "underlid/v1/potting/sorrel-1/json", b"own " + mark)
    wait_until(lambda: b"own " + mark in writer.payloads())
    return b"stray " + mark in writer.payloads()


@pytest.mark.parametrize("share", ["", "underlid"])
def test_filters_are_asked_for_and_given_up_while_the_line_is_open(
    writer: MemoryWriter, mosquitto: Mosquitto, share: str
) -> None:
    client = probe(mosquitto)
    more = {"protocol": "5", "share": share} if share else {}
    with Reading(writer, mosquitto, **more) as reading:
        assert reading.subscribed.wait(WAIT_S)
        reading.ask_for([ENV], [])
        wait_until(lambda: not reading._asked)
        publish(client, "allotment/3/env", b"1")
        wait_until(lambda: writer.payloads() == [b"1"])
        reading.ask_for(["allotment/#"], [ENV])
        wait_until(lambda: not reading._asked)
        publish(client, "allotment/3/air", b"2")
        wait_until(lambda: writer.payloads() == [b"1", b"2"])
        reading.ask_for([], [ENV, "allotment/#"])
        wait_until(lambda: not still_comes(client, writer, "allotment/3/env"))
    client.disconnect()
    client.loop_stop()


def test_a_mapping_that_is_new_while_the_line_opens_is_asked_for(
    writer: MemoryWriter, mosquitto: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    reader = Reading(writer, mosquitto)
    client, ask_for_own = reader.client, reader.client._subscribe
    other = threading.Thread(target=client.ask_for, args=([ENV], []))

    def slowly(filters: Iterable[str]) -> None:
        ask_for_own(filters)
        if other.ident is None:
            other.start()
            other.join(0.2)

    monkeypatch.setattr(client, "_subscribe", slowly)
    sender = probe(mosquitto)
    with reader as reading:
        assert reading.subscribed.wait(WAIT_S)
        other.join(WAIT_S)
        wait_until(lambda: not reading._asked)
        assert still_comes(sender, writer, "allotment/3/env")
    sender.disconnect()
    sender.loop_stop()


@pytest.mark.parametrize("share", ["", "underlid"])
def test_what_comes_while_the_service_is_away_waits_and_what_was_given_up_then_does_not(
    writer: MemoryWriter, mosquitto: Mosquitto, share: str
) -> None:
    client = probe(mosquitto)
    more = {"protocol": "5", "share": share, "client_id": "one"} if share else {}
    reader = Reading(writer, mosquitto, **more)
    reader.client.ask_for([ENV], [])
    with reader as reading:
        assert reading.subscribed.wait(WAIT_S)
    publish(client, "allotment/3/env", b"1")
    again = Reading(writer, mosquitto, **more)
    again.client.ask_for([], [ENV])
    with again as reading:
        assert reading.subscribed.wait(WAIT_S)
        wait_until(lambda: writer.payloads() == [b"1"])
        wait_until(lambda: not still_comes(client, writer, "allotment/3/env"))
    client.disconnect()
    client.loop_stop()


def test_what_the_broker_had_kept_is_marked(writer: MemoryWriter, mosquitto: Mosquitto) -> None:
    client = probe(mosquitto)
    publish(client, "allotment/3/env", b"1", retain=True)
    reader = Reading(writer, mosquitto)
    reader.client.ask_for([ENV], [])
    with reader as reading:
        assert reading.subscribed.wait(WAIT_S)
        publish(client, "allotment/4/env", b"2", retain=True)
        wait_until(lambda: len(writer.messages) == 2)
    assert [(one.payload, one.retained) for one in writer.messages] == [(b"1", True), (b"2", False)]
    client.disconnect()
    client.loop_stop()


def place_at(broker: Mosquitto) -> BrokerPlace:
    return BrokerPlace("127.0.0.1", broker.port, "underlid", "service-secret")


def ear_at(broker: Mosquitto) -> Ear:
    return Ear(place_at(broker), SystemClock())


def test_the_newest_messages_are_heard_cut_and_stored_nowhere(mosquitto: Mosquitto) -> None:
    client = probe(mosquitto)
    publish(client, "allotment/0/env", b"kept", retain=True)
    ear = ear_at(mosquitto)
    ear.listen("allotment/#")
    wait_until(lambda: ear.heard().count == 1)
    assert ear.heard().messages[0].retained
    for number in range(KEPT_MOST + 3):
        publish(client, f"allotment/{number}/env", b"x" * 9000)
    wait_until(lambda: ear.heard().count == KEPT_MOST + 4)
    heard = ear.heard()
    assert len(heard.messages) == KEPT_MOST
    newest = heard.messages[0]
    assert (newest.topic, newest.size_bytes) == (f"allotment/{KEPT_MOST + 2}/env", 9000)
    assert len(newest.payload) == EXAMPLE_MOST_BYTES
    assert 0 < heard.left_s <= 60
    ear.listen("allotment/none", 0.2)
    wait_until(lambda: ear.heard().left_s == 0)
    assert ear.heard().messages == ()
    publish(client, "allotment/none", b"late")
    assert ear.heard().count == 0
    client.disconnect()
    client.loop_stop()


@pytest.mark.parametrize(("protocol", "sizes"), [("5", [5]), ("3.1.1", [5, 200_000])])
def test_what_is_far_too_long_is_not_sent_where_the_broker_can_be_told(
    mosquitto: Mosquitto, protocol: Literal["3.1.1", "5"], sizes: list[int]
) -> None:
    """MQTT 3.1.1 has no word for it: there only the broker can bound its messages."""
    mosquitto.stop()
    shipped = mosquitto.settings.read_text()
    mosquitto.settings.write_text(shipped.replace("message_size_limit 67584", ""))
    mosquitto.start()
    client = probe(mosquitto)
    publish(client, "allotment/0/env", b"x" * 200_000, retain=True)
    publish(client, "allotment/1/env", b"short", retain=True)
    place = replace(place_at(mosquitto), protocol=protocol)
    ear = Ear(place, SystemClock())
    ear.listen("allotment/#")
    wait_until(lambda: ear.heard().count == len(sizes))
    assert sorted(one.size_bytes for one in ear.heard().messages) == sizes
    ear.stop()
    client.disconnect()
    client.loop_stop()


def test_a_missing_authority_is_said_to_who_wants_to_listen(tmp_path: Path) -> None:
    place = BrokerPlace("127.0.0.1", tls=True, tls_ca=tmp_path / "none.pem")
    with pytest.raises(UnderlidError, match="Correct broker_tls_ca"):
        Ear(place, SystemClock()).listen("#")


def test_what_cannot_be_heard_is_said(mosquitto: Mosquitto) -> None:
    for wrong in ("$SYS/#", "a/#/b", "", "x" * 300):
        with pytest.raises(UnderlidError, match="topic filter"):
            ear_at(mosquitto).listen(wrong)
    with pytest.raises(UnderlidError, match="broker_host"):
        Ear(None, SystemClock()).listen("#")
    ear = Ear(BrokerPlace("127.0.0.1", mosquitto.port, "underlid", "wrong"), SystemClock())
    ear.listen("#")
    wait_until(lambda: ear.heard().trouble)
    assert ear.heard().left_s == 0
    mosquitto.stop()
    ear = ear_at(mosquitto)
    ear.listen("#")
    wait_until(lambda: ear.heard().trouble)
