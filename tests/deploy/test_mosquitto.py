"""The broker of docker-compose.yml with that very configuration: users, rights, TLS, what it keeps."""

from __future__ import annotations

import os
import re
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from deploy.composed import ROOT, Outside, Part, parts
from deploy.outside import outside, own, running, user_of
from programs import free_port, require
from underlid.mqtt.broker import FILTERS
from waiting import WAIT_S, wait_until

PART = parts()["mosquitto"]
TOPIC = "underlid/v1/potting/tansy-1/json"


@pytest.fixture(scope="module")
def place() -> Iterator[Outside]:
    require("mosquitto")
    with outside() as made:
        yield made


@contextmanager
def broker(place: Outside, part: Part = PART) -> Iterator[tuple[int, int]]:
    """Run the broker; yield its ports, plain and TLS."""
    plain, tls = free_port(), free_port()
    place.swaps["listener 1883 0.0.0.0"] = f"listener {plain} 127.0.0.1"
    place.swaps["listener 8883 0.0.0.0"] = f"listener {tls} 127.0.0.1"
    place.place(part)
    own(part, place.folder / part.name)
    with running(place.command(part), place, part.name, plain, **user_of(part)):
        yield plain, tls


@contextmanager
def client(
    place: Outside, port: int, user: str, secret: str, tls: bool = False, **more: object
) -> Iterator[tuple[Client, list[str]]]:
    """Connect as *user*; yield the client and the answer to CONNECT."""
    answers: list[str] = []
    there = threading.Event()
    made = Client(CallbackAPIVersion.VERSION2, **more)  # type: ignore[arg-type]
    made.username_pw_set(user, place.secret(secret) if secret else None)
    if tls:
        authority = place.folder / "authority.pem"
        authority.write_text(place.secret("mosquitto_certificate"), encoding="utf-8")
        made.tls_set_context(ssl.create_default_context(cafile=authority))

    def connected(_client: Client, _data: object, _flags: object, code: object, _: object) -> None:
        answers.append(str(code))
        there.set()

    made.on_connect = connected
    made.connect("localhost" if tls else "127.0.0.1", port)
    made.loop_start()
    assert there.wait(WAIT_S)
    try:
        yield made, answers
    finally:
        made.disconnect()
        made.loop_stop()


def collect(
    made: Client, filters: list[str], count: int = 1
) -> tuple[list[bytes], threading.Event]:
    """Subscribe, and gather messages until there are *count*."""
    got: list[bytes] = []
    enough, subscribed = threading.Event(), threading.Event()

    def message(_client: Client, _data: object, one: object) -> None:
        got.append(one.payload)  # type: ignore[attr-defined]
        if len(got) >= count:
            enough.set()

    made.on_message = message
    made.on_subscribe = lambda *_: subscribed.set()
    made.subscribe([(one, 1) for one in filters])
    assert subscribed.wait(WAIT_S)
    return got, enough


def test_a_probe_comes_in_over_tls_and_the_service_reads_it(place: Outside) -> None:
    with (
        broker(place) as (plain, tls),
        client(place, plain, "underlid", "underlid_broker_password") as (service, _),
        client(place, tls, "tansy-1", "probe-tansy-1", tls=True) as (probe, answers),
    ):
        assert answers == ["Success"]
        got, enough = collect(service, list(FILTERS))
        probe.publish("underlid/v1/potting/sorrel-1/json", b"not mine", qos=1)
        probe.publish(TOPIC, b"mine", qos=1).wait_for_publish(WAIT_S)
        assert enough.wait(WAIT_S)
        assert got == [b"mine"]


def test_nobody_comes_in_without_a_password(place: Outside) -> None:
    with broker(place) as (plain, _):
        for user, secret in (("", ""), ("underlid", "probes_password"), ("probes", "")):
            with client(place, plain, user, secret) as (_, answers):
                assert answers[0] == "Not authorized"


def test_workers_share_one_subscription(place: Outside) -> None:
    five = MQTTProtocolVersion.MQTTv5
    shared = [f"$share/underlid/{one}" for one in FILTERS]
    secret = "underlid_broker_password"
    with (
        broker(place) as (plain, _),
        client(place, plain, "underlid", secret, client_id="w-1", protocol=five) as (one, _),
        client(place, plain, "underlid", secret, client_id="w-2", protocol=five) as (two, _),
        client(place, plain, "probes", "probes_password") as (probe, _),
    ):
        first, _ = collect(one, shared)
        second, _ = collect(two, shared)
        for number in range(40):
            probe.publish(TOPIC, str(number).encode(), qos=1).wait_for_publish(WAIT_S)
        wait_until(lambda: len(first) + len(second) == 40)
        assert sorted(map(int, first + second)) == list(range(40)), "each once"
        assert first
        assert second


def test_what_waits_survives_a_restart(place: Outside) -> None:
    secret = "underlid_broker_password"
    lasting = {"client_id": "lasting", "clean_session": False}
    with broker(place) as (plain, _):
        with client(place, plain, "underlid", secret, **lasting) as (service, _):
            collect(service, list(FILTERS))
        with client(place, plain, "probes", "probes_password") as (probe, _):
            for number in range(2000):
                sent = probe.publish(TOPIC, str(number).encode(), qos=1)
            sent.wait_for_publish(WAIT_S)
    with broker(place) as (plain, _), client(place, plain, "probes", "probes_password"):
        got: list[bytes] = []
        enough = threading.Event()
        waiting = Client(CallbackAPIVersion.VERSION2, **lasting)  # type: ignore[arg-type]
        waiting.username_pw_set("underlid", place.secret(secret))
        waiting.on_message = lambda _c, _d, one: (
            got.append(one.payload),
            enough.set() if len(got) == 2000 else None,
        )
        waiting.connect("127.0.0.1", plain)
        waiting.loop_start()
        try:
            assert enough.wait(WAIT_S)
        finally:
            waiting.disconnect()
            waiting.loop_stop()
        assert sorted(map(int, got)) == list(range(2000)), "more than the stock queue of 1000"


def test_the_health_check_of_the_file_finds_it_alive_and_dead(place: Outside) -> None:
    require("mosquitto_sub")
    kind, text = PART.said["healthcheck"]["test"]
    assert kind == "CMD-SHELL"
    with broker(place) as (plain, _):
        asked = place.here(text.replace("-p 1883", f"-p {plain}"))
        alive = subprocess.run(["sh", "-c", asked], capture_output=True, check=False)
        assert alive.returncode == 0, alive.stderr
    assert subprocess.run(["sh", "-c", asked], capture_output=True, check=False).returncode != 0


def bounds(path: Path) -> dict[str, str]:
    """Return the settings that are promises and bounds, without places and doors."""
    text = path.read_text(encoding="utf-8")
    found = dict(re.findall(r"^(\w+) (.+)$", text, re.M))
    places = ("listener", "password_file", "acl_file", "certfile", "keyfile", "max_connections")
    more = ("persistence_location", "tls_version", "log_type", "log_dest", "connection_messages")
    return {k: v for k, v in found.items() if k not in (*places, *more, "per_listener_settings")}


def test_both_configurations_promise_the_same() -> None:
    folder = ROOT / "deploy" / "mosquitto"
    home, server = bounds(folder / "mosquitto.conf"), bounds(folder / "compose.conf")
    assert int(server.pop("max_queued_messages")) > int(home.pop("max_queued_messages"))
    takers = [name for name, part in parts().items() if "ingest" in part.command]
    assert len(takers) * int(server.pop("max_queued_bytes")) < PART.memory_bytes * 0.6
    assert home == server
    limits = PART.said["ulimits"]["nofile"]
    most = re.search(r"max_connections (\d+)", (folder / "compose.conf").read_text())
    assert most is not None
    assert limits["soft"] > int(most[1])


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can hand files over")
def test_each_secret_belongs_to_its_reader(place: Outside) -> None:
    for part in parts().values():
        user = int(part.said["user"].split(":")[0])
        for name in part.secrets:
            found = (place.secrets / name).stat()
            assert (found.st_uid, found.st_mode & 0o777) == (user, 0o400), name
