"""The service is killed in the middle of a stream: nothing acknowledged is lost, nothing doubled, and
what the keeper is told is what an undisturbed service tells.
"""

from __future__ import annotations

import json
import re
import time
from pathlib import Path

import paho.mqtt.client as mqtt

from service.place import write_setup
from service.running import Running
from underlid.journal.entries import Feed, Portion
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import HOUR_MS, MINUTE_MS
from waiting import wait_until

MESSAGES = 10_000
NOW_MS = 1_760_000_100_000
"""A time of the past: the service runs on a clock that begins here."""


def stream() -> list[tuple[str, bytes]]:
    """Return 10,000 messages: both probes, a reading a minute, up to now."""
    made = []
    for number in range(MESSAGES // 2):
        age_min = MESSAGES // 2 - 1 - number
        ts = (NOW_MS - age_min * MINUTE_MS) // 1000
        warm_h = max(0.0, 30.0 - age_min / 60)
        bed = 20.0 + 11.5 * min(1.0, warm_h / 8) + 0.0625 * (number // 11 % 3)
        told = {"ts": ts, "bed_temp_c": bed, "headspace_temp_c": 20.5 + 0.001 * (number % 7)}
        made.append(("underlid/v1/potting/tansy-1/json", json.dumps(told).encode()))
        air = {"ts": ts, "shed_temp_c": 19.5 + 0.001 * (number % 5)}
        made.append(("underlid/v1/potting/air1/json", json.dumps(air).encode()))
    return made


def publish_all(running: Running, kill_after: int | None, restart: object) -> Running:
    """Publish the stream with paho at QoS 1; kill and restart once in the middle if asked."""
    acknowledged: set[int] = set()
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="sender", clean_session=False)
    client.username_pw_set("probes", running.password)
    client.max_inflight_messages_set(200)
    client.reconnect_delay_set(1, 1)
    client.on_publish = lambda _client, _data, mid, *_rest: acknowledged.add(mid)
    client.connect("127.0.0.1", running.door_port)
    client.loop_start()
    for topic, payload in stream():
        client.publish(topic, payload, qos=1)
    if kill_after is not None:
        wait_until(lambda: len(acknowledged) >= kill_after)
        running.kill()
        assert callable(restart)
        running = restart(running.door_port)
    wait_until(lambda: len(acknowledged) == MESSAGES)
    client.disconnect()
    client.loop_stop()
    return running


def outcome(folder: Path) -> tuple[list[tuple[str, str, str, str]], int, int]:
    """Return the alerts, and how many rows each probe has."""
    records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
    alerts = sorted(
        (one.condition.value, one.cause, one.priority.value, one.state.value)
        for one in records.open_alerts()
    )
    records.close()
    readings = SqliteReadings(folder / "readings.sqlite")
    counts = [len(readings.raw(probe, 0, NOW_MS * 2).taken_at_ms) for probe in ("tansy-1", "air1")]
    readings.close()
    return alerts, counts[0], counts[1]


def wait_for_a_tick(running: Running) -> None:
    """Wait until a tick has begun and ended that knows of all that was taken in before."""
    began_s = time.monotonic()

    def ended() -> bool:
        asked_s = time.monotonic()
        lag = re.search(r"^underlid_judge_lag_seconds (\S+)$", running.get("/metrics"), re.M)
        return lag is not None and asked_s - float(lag[1]) > began_s

    wait_until(ended)


def run(folder: Path, kill_after: int | None) -> tuple[list[tuple[str, str, str, str]], int, int]:
    write_setup(folder, Feed((Portion("bread", 900.0),)), NOW_MS - 40 * HOUR_MS)
    clock = {"start_ms": NOW_MS, "tick_s": 1.0}
    running = Running(folder, **clock)
    running = publish_all(
        running, kill_after, lambda port: Running(folder, door_port=port, **clock)
    )
    for _ in range(2):  # a batch is told to the judge just after it is acknowledged
        wait_for_a_tick(running)
    running.stop()
    # Twenty-five minutes later the on-delay has passed; what was pending is raised.
    later = Running(folder, start_ms=NOW_MS + 25 * MINUTE_MS, tick_s=1.0)
    wait_for_a_tick(later)
    later.stop()
    return outcome(folder)


def test_a_power_cut_loses_nothing_and_changes_no_alert(tmp_path: Path) -> None:
    undisturbed = run(tmp_path / "undisturbed", None)
    killed = run(tmp_path / "killed", MESSAGES // 3)
    assert killed == undisturbed
    assert undisturbed[1:] == (MESSAGES // 2, MESSAGES // 2)
    assert ("overheating", "feed", "high", "active") in undisturbed[0]
