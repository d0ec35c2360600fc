"""From a probe's message to the keeper's sentence, through the real doors of a running service."""

from __future__ import annotations

import json
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cbor2
import paho.mqtt.client as mqtt
import pytest

from notify.sinks import MailSink, WebSink
from programs import require
from service.place import write_setup
from service.running import Running
from underlid.journal.entries import Feed, Portion
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import HOUR_MS, MINUTE_MS
from waiting import WAIT_S

NOW_MS = 1_760_000_100_000
FED_MS = NOW_MS - 20 * HOUR_MS
SPEED = 1200.0
"""Twenty minutes a second: an on-delay of half an hour takes a second and a half."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "data"


def test_every_payload_a_client_may_send_is_stored_and_seen_at_once(folder: Path) -> None:
    publish = require("mosquitto_pub")
    running = Running(folder)
    payloads = {
        "json": json.dumps({"bed_temp_c": 22.4, "soil_raw": 1843}).encode(),
        "senml": json.dumps([{"n": "headspace-rh", "u": "%RH", "v": 91.0}]).encode(),
        "value/lid_temp_c": b"19.25",
    }
    cbor = cbor2.dumps([{0: "headspace-temp", 1: "Cel", 2: 21.75}])
    try:
        for kind, payload in [*payloads.items(), ("senml", cbor)]:
            subprocess.run(
                [
                    *(publish, "-h", "127.0.0.1", "-p", str(running.door_port), "-q", "1"),
                    *("-u", "probes", "-P", running.password, "-s"),
                    *("-t", f"underlid/v1/potting/tansy-1/{kind}"),
                ],
                input=payload,
                check=True,
                timeout=WAIT_S,
            )
        counted = running.get("/metrics")
    finally:
        running.stop()
    assert 'underlid_mqtt_acknowledged_total{way="door"} 4.0' in counted
    readings = SqliteReadings(folder / "readings.sqlite")
    seen = readings.probes_seen()
    readings.close()
    assert [one.probe for one in seen] == ["tansy-1"]
    assert seen[0].last_values == {
        "bed_temp_c": 22.4,
        "soil_raw": 1843.0,
        "headspace_rh_pct": 91.0,
        "lid_temp_c": 19.25,
        "headspace_temp_c": 21.75,
    }


def publish_until(
    reached: Callable[[], object], running: Running, bed: dict[str, float], air: float
) -> None:
    """Publish the past two days at once, then every few minutes of the service's clock."""
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.username_pw_set("probes", running.password)
    client.max_inflight_messages_set(200)
    client.connect("127.0.0.1", running.door_port)
    client.loop_start()

    def publish(at_ms: int) -> None:
        told = {"ts": at_ms // 1000, **bed}
        client.publish("underlid/v1/potting/tansy-1/json", json.dumps(told), qos=1)
        told = {"ts": at_ms // 1000, "shed_temp_c": air}
        client.publish("underlid/v1/potting/air1/json", json.dumps(told), qos=1)

    for age_min in range(48 * 60, 0, -4):
        publish(NOW_MS - age_min * MINUTE_MS)
    until_s = time.monotonic() + WAIT_S
    while not reached():
        assert time.monotonic() < until_s, "it did not come true in time"
        publish(running.now_ms())
        time.sleep(0.15)
    client.disconnect()
    client.loop_stop()


def test_a_wet_lid_reaches_the_mail_box_the_webhook_and_the_topics(
    folder: Path, mail: MailSink, web: WebSink
) -> None:
    write_setup(folder, Feed((Portion("melon", 1800.0),)), FED_MS)
    running = Running(
        folder,
        start_ms=NOW_MS,
        speed=SPEED,
        smtp_url=mail.address(),
        webhook_url=web.address(),
    )
    states: list[dict[str, object]] = []
    told: list[dict[str, Any]] = []
    listener = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    users = dict(
        line.split(" ", 1) for line in (folder / "door-users.txt").read_text().splitlines()
    )
    listener.username_pw_set("keeper", users["keeper"])
    listener.on_message = lambda _client, _data, message: (
        told if message.topic.endswith("alert") else states
    ).append(json.loads(message.payload))
    listener.connect("127.0.0.1", running.door_port)
    listener.subscribe("underlid/v1/potting/alert")
    listener.subscribe("underlid/v1/potting/state/tansy")
    listener.loop_start()

    def heard() -> bool:
        return (
            any("melon" in mail.text(number) for number in range(len(mail.mails)))
            and any(b"melon" in body for _, _, body in web.requests)
            and any(one["event"] == "alert_raised" for one in told)
            and any(one["bin"] == "tansy" for one in states)
        )

    try:
        warm = {"bed_temp_c": 24.0, "headspace_temp_c": 23.0, "headspace_rh_pct": 98.5}
        publish_until(heard, running, warm, 19.0)
        alerts = json.loads(running.get("/healthz"))
        assert alerts["status"] == "alive"
    finally:
        listener.disconnect()
        listener.loop_stop()
        running.stop()
    number = next(n for n in range(len(mail.mails)) if "melon" in mail.text(n))
    assert "shredded newspaper" in mail.text(number)
    assert "Tansy" in mail.mails[number]["Subject"]
    _, headers, _ = web.requests[0]
    assert any(name.lower().startswith("underlid-") for name in headers)


@pytest.mark.parametrize(
    ("shed_c", "feed", "cause"),
    [(31.0, None, "room"), (19.0, Feed((Portion("bread", 1200.0),)), "feed")],
)
def test_heat_is_put_down_to_the_room_or_to_the_feed(
    folder: Path, shed_c: float, feed: Feed | None, cause: str
) -> None:
    write_setup(folder, feed, FED_MS)
    running = Running(folder, start_ms=NOW_MS, speed=SPEED)
    records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")

    def raised() -> list[str]:
        return [
            one.cause
            for one in records.alerts("tansy")
            if one.condition.value == "overheating" and one.raised_at_ms is not None
        ]

    try:
        warm = {"bed_temp_c": 31.2, "headspace_temp_c": 25.0}
        publish_until(raised, running, warm, shed_c)
        assert raised() == [cause]
    finally:
        records.close()
        running.stop()
