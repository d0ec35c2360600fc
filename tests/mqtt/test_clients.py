"""The door as other people's clients see it: paho, mosquitto_pub, mosquitto_sub; over TLS too."""

from __future__ import annotations

import ssl
import subprocess
import threading
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from mqtt.certificates import certificate
from mqtt.loopback import STATE, TOPIC, RunningDoor
from mqtt.writers import MemoryWriter
from programs import require
from waiting import WAIT_S, wait_until

PAHO_VERSIONS = [MQTTProtocolVersion.MQTTv311, MQTTProtocolVersion.MQTTv5]
MOSQUITTO_VERSIONS = ["mqttv311", "mqttv5"]


def paho(port: int, version: MQTTProtocolVersion, user: str = "probes", **more: Any) -> Client:
    """Return a paho client that is connected and whose loop runs."""
    client = Client(CallbackAPIVersion.VERSION2, protocol=version)
    client.username_pw_set(user, {"probes": "household-secret", "keeper": "keeper-secret"}[user])
    if "tls" in more:
        client.tls_set_context(more["tls"])
    there = threading.Event()
    client.on_connect = lambda *_: there.set()
    client.on_message = more.get("on_message")
    client.connect("localhost" if "tls" in more else "127.0.0.1", port)
    client.loop_start()
    assert there.wait(WAIT_S)
    return client


def leave(client: Client) -> None:
    client.disconnect()
    client.loop_stop()


@pytest.mark.parametrize("version", PAHO_VERSIONS)
def test_paho_publishes_and_reads(writer: MemoryWriter, version: MQTTProtocolVersion) -> None:
    come: list[MQTTMessage] = []
    with RunningDoor(writer) as house:
        house.door.publish(STATE, b'{"bin":"tansy"}', retain=True)
        keeper = paho(house.port, version, "keeper", on_message=lambda _c, _d, m: come.append(m))
        keeper.subscribe([("underlid/v1/+/state/#", 1), ("underlid/v1/+/alert", 1)])
        wait_until(lambda: len(come) == 1)
        probe = paho(house.port, version)
        sent = [probe.publish(TOPIC, b'{"bed_temp_c":%d}' % n, qos=1) for n in range(200)]
        for one in sent:
            one.wait_for_publish(WAIT_S)
        assert len(writer.messages) == 200
        house.door.publish("underlid/v1/potting/alert", b"{}")
        wait_until(lambda: len(come) == 2)
        leave(probe)
        leave(keeper)
    assert [(one.topic, one.retain) for one in come] == [
        (STATE, True),
        ("underlid/v1/potting/alert", False),
    ]


@pytest.mark.parametrize("version", PAHO_VERSIONS)
def test_paho_is_told_when_its_secret_is_wrong(
    writer: MemoryWriter, version: MQTTProtocolVersion
) -> None:
    codes: list[str] = []
    with RunningDoor(writer) as house:
        client = Client(CallbackAPIVersion.VERSION2, protocol=version)
        client.username_pw_set("probes", "wrong")
        client.on_connect = lambda _c, _d, _f, code, _p: codes.append(str(code))
        client.connect("127.0.0.1", house.port)
        client.loop_start()
        wait_until(lambda: bool(codes))
        leave(client)
    assert codes[0] == "Bad user name or password"


@pytest.mark.parametrize("version", PAHO_VERSIONS)
def test_paho_sends_again_what_was_not_acknowledged(
    writer: MemoryWriter, version: MQTTProtocolVersion
) -> None:
    """The disk is full for a while: paho keeps the message and it arrives in the end."""
    writer.error = OSError("the disk is full")
    with RunningDoor(writer) as house:
        probe = paho(house.port, version)
        probe.reconnect_delay_set(1, 1)
        sent = probe.publish(TOPIC, b'{"bed_temp_c":1}', qos=1)
        wait_until(lambda: house.door.counts.not_stored >= 1)
        assert not sent.is_published()
        writer.error = None
        sent.wait_for_publish(WAIT_S)
        assert sent.is_published()
        leave(probe)
    assert writer.payloads() == [b'{"bed_temp_c":1}']


def run(program: str, port: int, *more: str, user: str = "probes", lines: str = "") -> str:
    """Run one of mosquitto's clients against the door; return what it printed."""
    secret = {"probes": "household-secret", "keeper": "keeper-secret"}[user]
    where = ["-h", "127.0.0.1", "-p", str(port), "-u", user, "-P", secret]
    done = subprocess.run(
        [require(program), *where, *more],
        input=lines,
        capture_output=True,
        text=True,
        timeout=WAIT_S,
        check=True,
    )
    return done.stdout


@pytest.mark.parametrize("version", MOSQUITTO_VERSIONS)
@pytest.mark.parametrize("qos", ["0", "1"])
def test_mosquitto_pub(writer: MemoryWriter, version: str, qos: str) -> None:
    with RunningDoor(writer) as house:
        common = ("-V", version, "-q", qos, "-t", TOPIC)
        run("mosquitto_pub", house.port, *common, "-m", '{"bed_temp_c": 20.5}')
        lines = "\n".join(f'{{"bed_temp_c": {n}}}' for n in range(50))
        run("mosquitto_pub", house.port, *common, "-l", lines=lines)
        wait_until(lambda: len(writer.messages) == 51)


@pytest.mark.parametrize("version", MOSQUITTO_VERSIONS)
def test_mosquitto_sub_gets_state_and_confirmation(writer: MemoryWriter, version: str) -> None:
    require("mosquitto_sub")  # here and not in the reader's thread, where a skip is not seen
    with RunningDoor(writer) as house:
        house.door.publish(STATE, b'{"bin":"tansy"}', retain=True)
        filters = ("-t", "underlid/v1/+/state/#", "-t", "underlid/v1/+/+/confirm")
        out: list[str] = []

        def read() -> None:
            more = ("-V", version, "-q", "1", "-C", "2", "-v", *filters)
            out.append(run("mosquitto_sub", house.port, *more, user="keeper"))

        reader = threading.Thread(target=read)
        reader.start()
        wait_until(lambda: house.door.counts.open == 1 and bool(house.door.readers))
        message = '{"bed_temp_c": 20.5, "seq": 1234}'
        run("mosquitto_pub", house.port, "-V", version, "-q", "1", "-t", TOPIC, "-m", message)
        reader.join(WAIT_S)
    assert out[0].splitlines() == [
        STATE + ' {"bin":"tansy"}',
        'underlid/v1/potting/sorrel-1/confirm {"ranges":[[1234,1234]]}',
    ]


@pytest.mark.parametrize("version", PAHO_VERSIONS)
def test_paho_over_tls(writer: MemoryWriter, version: MQTTProtocolVersion, tmp_path: Path) -> None:
    chain, key = certificate(tmp_path)
    server = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    server.load_cert_chain(chain, key)
    with RunningDoor(writer, tls_port=0, tls=server) as house:
        assert house.door.tls_port
        trusting = ssl.create_default_context(cafile=chain)
        probe = paho(house.door.tls_port, version, tls=trusting)
        sent = [probe.publish(TOPIC, b'{"bed_temp_c":%d}' % n, qos=1) for n in range(100)]
        for one in sent:
            one.wait_for_publish(WAIT_S)
        leave(probe)
    assert len(writer.messages) == 100
