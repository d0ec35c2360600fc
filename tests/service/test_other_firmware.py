"""Other firmware through the real doors: a mapping that is kept while the service runs counts at once."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

import paho.mqtt.client as mqtt
import pytest

from mqtt.brokers import probe as connect
from programs import require
from service.place import PLACE, write_setup
from service.running import Running
from service.several import Several
from storage.records_places import file_address
from underlid.clock import SystemClock
from underlid.config import load
from underlid.jobs import take_over_users
from underlid.mqtt.door import Door
from underlid.mqtt.mapped_topics import MappedTopics
from underlid.mqtt.users import DoorUsers
from underlid.parts import Parts
from underlid.readings.mapping import PayloadMapping, mapping_from
from underlid.storage.protocols import ReadingStore
from underlid.storage.recorder import Recorder
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import MINUTE_MS
from underlid.web.live import Hub
from waiting import WAIT_S, wait_until

HOUR_OF_IT_MS = 60 * MINUTE_MS
Found = TypeVar("Found")


def mapping(topic_filter: str) -> PayloadMapping:
    return mapping_from(
        "boards",
        {
            "filter": topic_filter,
            "shed": "potting",
            "probe_level": 2,
            "time_at": "/at",
            "time_as": "ms",
            "values": [{"at": "/soil/temp", "channel": "bed_temp_c", "unit": "degF"}],
        },
    )


def say(client: mqtt.Client, topic: str, at_ms: int) -> None:
    """Publish as a board does, and wait for the acknowledgement."""
    body = json.dumps({"at": at_ms, "soil": {"temp": 68}})
    client.publish(topic, body, qos=1).wait_for_publish(WAIT_S)


def times_of(store: ReadingStore, probe: str) -> list[int]:
    """Return when the stored readings of *probe* were taken."""
    now_ms = SystemClock().now_ms()
    return list(store.raw(probe, now_ms - 2 * HOUR_OF_IT_MS, now_ms + MINUTE_MS).taken_at_ms)


def on_disk(folder: Path, look: Callable[[SqliteReadings], Found]) -> Found:
    """Return what a store that is opened now finds: one that is open does not see another's writes."""
    store = SqliteReadings(folder / "readings.sqlite")
    try:
        return look(store)
    finally:
        store.close()


def knows(store: ReadingStore, probe: str, again: Callable[[], None]) -> bool:
    """Let the board send once more, and tell whether anything of it was ever stored."""
    again()
    return bool(times_of(store, probe))


def test_at_the_door_it_counts_without_a_restart_and_is_on_disk_when_acknowledged(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "data"
    write_setup(folder)
    running = Running(folder)
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.username_pw_set("probes", running.password)
    client.connect("127.0.0.1", running.door_port)
    client.loop_start()
    begun_ms = SystemClock().now_ms() - HOUR_OF_IT_MS
    say(client, "allotment/Board 7/env", begun_ms)
    assert on_disk(folder, lambda store: store.reject_counts()) == {"bad_topic": 1}
    records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
    records.save_mapping("boards", mapping("allotment/+/env"))
    records.close()

    def counts() -> bool:
        say(client, "allotment/Board 7/env", begun_ms)
        return bool(on_disk(folder, lambda store: times_of(store, "board-7")))

    wait_until(counts)
    times = [begun_ms + number * 1000 for number in range(1, 200)]
    for at_ms in times:
        say(client, "allotment/Board 7/env", at_ms)
    running.kill()
    client.disconnect()
    client.loop_stop()
    assert on_disk(folder, lambda store: times_of(store, "board-7")) == [begun_ms, *times]
    (seen,) = on_disk(folder, lambda store: store.probes_seen())
    assert seen.last_values == {"bed_temp_c": pytest.approx(20.0)}


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Several]:
    for program in ("mosquitto", "influxd", "initdb"):
        require(program)
    made = Several(tmp_path, SystemClock().now_ms(), 1.0)
    acl = made.broker.folder / "acl"
    text = acl.read_text().replace("user underlid\n", "user underlid\ntopic read allotment/#\n")
    acl.write_text(text.replace("user probes\n", "user probes\ntopic write allotment/#\n"))
    made.broker.reload()
    made.records.save_setup(PLACE)
    made.begin()
    yield made
    made.close()


def test_several_workers_take_a_mapping_over_share_its_messages_and_let_go(place: Several) -> None:
    worker = place.start_together({"first": "ingest", "second": "ingest"}, tick_s=1)
    client = connect(place.broker)
    store = place.store(SystemClock())
    begun_ms = SystemClock().now_ms() - HOUR_OF_IT_MS
    place.records.save_mapping("boards", mapping("allotment/+/env"))
    wait_until(lambda: knows(store, "4", lambda: say(client, "allotment/4/env", begun_ms)))
    worker["first"].kill()
    times = [begun_ms + number * 1000 for number in range(100)]
    for at_ms in times:
        say(client, "allotment/5/env", at_ms)
    wait_until(lambda: times_of(store, "5") == times)
    place.records.save_mapping("boards", mapping("allotment/plot/+"))
    wait_until(lambda: knows(store, "plot", lambda: say(client, "allotment/plot/6", begun_ms)))
    back = place.start("first", "ingest", tick_s=1)
    refused = store.reject_counts()
    for at_ms in times:
        say(client, "allotment/7/env", at_ms)
        say(client, "allotment/plot/6", at_ms)
    wait_until(lambda: times_of(store, "plot") == times)
    assert times_of(store, "7") == []
    assert store.reject_counts() == refused
    back.stop()
    client.disconnect()
    client.loop_stop()
    store.close()


def test_nothing_is_read_by_a_mapping_that_the_door_does_not_know(tmp_path: Path) -> None:
    """Else whoever publishes in between speaks for a probe that has a secret of its own."""
    records, readings = Records.open(file_address(tmp_path)), SqliteReadings(tmp_path / "r.sqlite")
    records.save_setup(PLACE)
    recorder = Recorder(readings, lambda _: None)
    mapped, users = MappedTopics(records), DoorUsers(records, tmp_path)
    door = Door(recorder, users.grants())
    parts = Parts(load(data=tmp_path), SystemClock(), records, readings, Hub())
    parts.recorder, parts.users, parts.ways = recorder, users, [door]
    records.add_door_secret("tansy-1", "its-own")
    records.save_mapping("boards", mapping("allotment/+/env"))

    async def take_over() -> None:
        loop = asyncio.get_running_loop()
        take_over_users(parts, mapped, loop)
        assert door.grants.may_publish("probes", "allotment/tansy-1/env")
        assert not recorder.mappings
        next_turn = asyncio.Event()
        loop.call_soon(next_turn.set)
        await next_turn.wait()
        assert not door.grants.may_publish("probes", "allotment/tansy-1/env")
        assert recorder.mappings is mapped.mappings

    asyncio.run(take_over())
    recorder.close()
    readings.close()
    records.close()
