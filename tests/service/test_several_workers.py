"""Three workers on a broker, an InfluxDB and a PostgreSQL, killed at random: nothing is missed.

What they stored, judged and told is compared with what was published, and with one process that is
given the same data.
"""

from __future__ import annotations

import json
import random
import threading
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from mqtt.brokers import probe as connect
from notify.sinks import WebSink
from programs import require
from service.several import Several
from underlid.binmodel.bins import Bin, ProbePlace, Setup, Shed
from underlid.clock import VirtualClock
from underlid.journal.entries import Entry, Feed, Portion
from underlid.readings.values import Admitted, Reading
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import HOUR_MS, MINUTE_MS
from underlid.watch import Watch
from waiting import WAIT_S, wait_until

START_MS = 1_760_000_000_000 // HOUR_MS * HOUR_MS
SPEED = 120.0
"""Two minutes a second: an on-delay of twenty minutes takes ten seconds."""

HOT, WET, WELL = ("arbour", "boiler", "frame", "glass", "lean-to"), ("potting", "tool"), ("cellar",)
SHEDS = (*HOT, *WET, *WELL)
LATER_MIN = {"arbour": 6, "frame": 12, "lean-to": 18}
"""Bins set up while the workers run, minutes after the start."""

FOREVER_MS = 2**60
FED_MS = START_MS - 20 * HOUR_MS
SETTLED_MS = 8 * MINUTE_MS
"""Workers may be seconds behind: what was due so long before the last reading must have happened."""


def setup_of(*sheds: str) -> Setup:
    return Setup(
        {name: Shed(name, name, air_probe=f"air-{name}") for name in sheds},
        {f"bin-{name}": Bin(f"bin-{name}", name) for name in sheds},
        {f"in-{name}": ProbePlace(f"in-{name}", name, f"bin-{name}") for name in sheds}
        | {f"air-{name}": ProbePlace(f"air-{name}", name, None) for name in sheds},
    )


def set_up(records: Records, *sheds: str) -> None:
    """Set sheds up, each with a bin that was fed yesterday."""
    records.save_setup(setup_of(*sheds))
    fed = Feed((Portion("melon", 1800.0),))
    for name in sheds:
        records.add_entry(Entry(f"feed-{name}", f"bin-{name}", FED_MS, FED_MS, fed, by="Ash"))


def said(at_ms: int) -> Iterator[Reading]:
    """Yield what all probes say at one instant."""
    wave = at_ms // MINUTE_MS % 7 / 100
    for name in SHEDS:
        bed = {
            "bed_temp_c": (31.2 if name in HOT else 24.0) + wave,
            "headspace_temp_c": 23.0 + wave,
            "headspace_rh_pct": 98.5 if name in WET else 80.0 + wave,
        }
        yield Reading(f"in-{name}", name, at_ms, at_ms, bed)
        yield Reading(f"air-{name}", name, at_ms, at_ms, {"shed_temp_c": 19.0 + wave})


HISTORY = [one for age in range(26 * 60, 0, -5) for one in said(START_MS - age * MINUTE_MS)]


class Publisher:
    """Publishes what the probes say, every minute of their time, until told to stop."""

    def __init__(self, place: Several) -> None:
        self.published: list[Reading] = []
        self._place = place
        self._client = connect(place.broker)
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        at_ms = START_MS
        while not self._stopping.wait(0.01):
            while at_ms <= self._place.now_ms():
                for one in said(at_ms):
                    body = json.dumps({"ts": at_ms / 1000, **one.values})
                    topic = f"underlid/v1/{one.shed}/{one.probe}/json"
                    self._client.publish(topic, body, qos=1)
                    self.published.append(one)
                at_ms += MINUTE_MS

    def stop(self) -> None:
        """Stop when the broker has acknowledged everything."""
        self._stopping.set()
        self._thread.join()
        wait_until(lambda: not self._client._out_messages)
        self._client.disconnect()
        self._client.loop_stop()


class Keeper:
    """Sets bins up while the workers run, and remembers when."""

    def __init__(self, place: Several) -> None:
        self.did: list[tuple[int, str]] = []
        self._place = place

    def look(self) -> None:
        done = [name for _, name in self.did]
        for name, minute in LATER_MIN.items():
            now_ms = self._place.now_ms()
            if name not in done and now_ms >= START_MS + minute * MINUTE_MS:
                set_up(self._place.records, name)
                self.did.append((self._place.now_ms(), name))


def alone(
    folder: Path, published: list[Reading], did: list[tuple[int, str]], until_ms: int
) -> Records:
    """Let one process judge the same data, and go on until *until_ms*; return its records."""
    records = Records.open(f"sqlite:///{folder / 'alone.sqlite'}")
    set_up(records, *(name for name in SHEDS if name not in LATER_MIN))
    store = SqliteReadings(folder / "alone-readings.sqlite")
    store.write(HISTORY)
    clock = VirtualClock(START_MS)
    watch = Watch(records, store, clock, tick_s=60, channels=["webhook"])
    watch.start()
    for now_ms in range(START_MS, until_ms, MINUTE_MS):
        clock.set_ms(now_ms)
        for at_ms, name in did:
            if now_ms - MINUTE_MS < at_ms <= now_ms:
                set_up(records, name)
        batch = [one for one in published if one.received_at_ms == now_ms]
        store.write(batch)
        watch.take(Admitted(batch, [], [], []))
        watch.tick()
    store.close()
    return records


def changes_of(records: Records, until_ms: int = FOREVER_MS) -> Counter[tuple[str, ...]]:
    """Count what became of each alert."""
    return Counter(
        (one.bin, one.condition.value, one.subject, one.cause, change.kind)
        for one in records.alerts(most=1000)
        for change in records.alert_changes(one.id)
        if change.at_ms <= until_ms
    )


def messages_of(records: Records, until_ms: int = FOREVER_MS) -> Counter[tuple[str, ...]]:
    """Count the messages that wait."""
    return Counter(
        (one.message.bin, one.message.event.value, one.message.title)
        for one in records.due_deliveries(until_ms, 1000)
    )


def heard_by(hook: WebSink) -> Counter[tuple[str, ...]]:
    """Count what a receiver makes of the posts: one message for each id."""
    told = {one["id"]: one for one in (json.loads(body) for _, _, body in hook.requests)}
    return Counter((one["bin"], one["event"], one["title"]) for one in told.values())


def test_workers_killed_at_random_lose_and_double_nothing(tmp_path: Path, web: WebSink) -> None:
    for program in ("mosquitto", "influxd", "initdb"):
        require(program)
    place = Several(tmp_path, START_MS, SPEED)
    names = ("one", "two", "three")
    more = {"webhook_url": web.address(), "webhook_secret": "a key for all of them", "tick_s": 60}
    try:
        set_up(place.records, *(name for name in SHEDS if name not in LATER_MIN))
        place.keep(HISTORY, VirtualClock(START_MS))
        place.begin()
        place.start_together(dict.fromkeys(names, "all"), **more)
        publisher, keeper = Publisher(place), Keeper(place)
        kills = kill_until_all_is_raised(place, keeper, more)
        wait_for(place, SETTLED_MS)
        publisher.stop()
        sure_ms = place.now_ms() - SETTLED_MS
        look_at_readings(place, publisher.published)
        wait_for_judgement(place)
        wait_until(lambda: place.records.waiting_count() == 0)
        changes, heard = changes_of(place.records), heard_by(web)
        one = alone(tmp_path, publisher.published, keeper.did, place.now_ms() + SETTLED_MS)
        assert kills >= len(names)
        assert changes_of(one, sure_ms) <= changes <= changes_of(one)
        assert messages_of(one, sure_ms) <= heard <= messages_of(one)
        one.close()
    finally:
        place.close()


def kill_until_all_is_raised(place: Several, keeper: Keeper, more: dict[str, object]) -> int:
    """Kill one worker after the other, and start each again a little later; return how many."""
    rng = random.Random(7)
    kills = 0
    until = time.monotonic() + 2 * WAIT_S
    while sum(one[-1] == "alert_raised" for one in changes_of(place.records)) < len(HOT) + len(WET):
        assert time.monotonic() < until, changes_of(place.records)
        name = rng.choice(sorted(place.workers))
        place.workers[name].kill()
        kills += 1
        time.sleep(rng.uniform(0.0, 1.5))
        keeper.look()
        place.start(name, **more)
        time.sleep(rng.uniform(0.0, 1.0))
        keeper.look()
    return kills


def wait_for(place: Several, span_ms: int) -> None:
    """Let time pass, of the workers' clocks."""
    until_ms = place.now_ms() + span_ms
    wait_until(lambda: place.now_ms() >= until_ms)


def wait_for_judgement(place: Several) -> None:
    """Wait until every bin has been judged with all that is there now."""
    now_ms = place.now_ms()
    wait_until(lambda: len(place.records.judged_since(now_ms)) == len(SHEDS))


def look_at_readings(place: Several, published: list[Reading]) -> None:
    """Wait until all that was published is in InfluxDB, and see that nothing else is."""
    store = place.store(VirtualClock(place.now_ms()))
    wanted: dict[str, dict[int, dict[str, float]]] = {}
    for one in [*HISTORY, *published]:
        wanted.setdefault(one.probe, {})[one.taken_at_ms] = one.values

    def stored(probe: str) -> dict[int, dict[str, float]]:
        raw = store.raw(probe, START_MS - 48 * HOUR_MS, START_MS + 48 * HOUR_MS)
        return {
            int(at_ms): {name: float(column[row]) for name, column in raw.values.items()}
            for row, at_ms in enumerate(raw.taken_at_ms)
        }

    wait_until(lambda: all(len(stored(p)) >= len(wanted[p]) for p in wanted))
    assert {probe: stored(probe) for probe in wanted} == wanted
    store.close()
