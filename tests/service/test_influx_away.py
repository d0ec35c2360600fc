"""The whole service on InfluxDB: it starts and takes readings in while that is away, and sends later."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from service.place import write_setup
from service.running import Running
from storage.influx_front import Front
from storage.influxd import DATABASE, PASSWORD, USER, Influxd
from waiting import wait_until

MESSAGES = 500


@pytest.fixture
def influxd(tmp_path: Path) -> Iterator[Influxd]:
    server = Influxd(tmp_path / "influxd")
    yield server
    server.stop()


def publish(running: Running) -> None:
    """Publish at QoS 1 and wait for every acknowledgement."""
    acknowledged: set[int] = set()
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="sender")
    client.username_pw_set("probes", running.password)
    client.on_publish = lambda _client, _data, mid, *_rest: acknowledged.add(mid)
    client.connect("127.0.0.1", running.door_port)
    client.loop_start()
    for number in range(MESSAGES):
        body = b'{"bed_temp_c": %d.5, "seq": %d}' % (number % 30, number)
        client.publish("underlid/v1/potting/tansy-1/json", body, qos=1)
    wait_until(lambda: len(acknowledged) == MESSAGES)
    client.disconnect()
    client.loop_stop()


def test_it_starts_and_acknowledges_without_the_server(influxd: Influxd, tmp_path: Path) -> None:
    front = Front(influxd.url)
    folder = tmp_path / "data"
    write_setup(folder)
    influxd.kill()
    where = {
        "readings_store": "influxdb",
        "influxdb_url": front.url,
        "influxdb_token": f"{USER}:{PASSWORD}",
        "influxdb_bucket": f"{DATABASE}/autogen",
    }
    running = Running(folder, **where)
    try:
        publish(running)
        running.kill()
        running = Running(folder, **where)
        assert f"underlid_unsent_readings {MESSAGES}.0" in running.get("/metrics")
        influxd.start()
        wait_until(lambda: "underlid_unsent_readings 0.0" in running.get("/metrics"))
        found = influxd.ask('SELECT count("bed_temp_c") FROM reading', DATABASE)
        assert found[0][1] == MESSAGES
    finally:
        running.stop()
        front.stop()
