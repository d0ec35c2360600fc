"""Several judges on one PostgreSQL and one store: whoever goes when, the verdicts are the same."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from programs import require
from storage.postgres import cluster
from underlid.alerts.alert import Alert
from underlid.binmodel.bins import Bin, ProbePlace, Setup, Shed
from underlid.clock import VirtualClock
from underlid.journal.entries import Entry, Feed, Portion
from underlid.readings.values import Admitted, Reading
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.storage.trouble import StoreError
from underlid.timeline import HOUR_MS, MINUTE_MS
from underlid.watch import Watch
from underlid.workers.sharing import SHED, Sharing

START_MS = 1_760_000_000_000 // (24 * HOUR_MS) * (24 * HOUR_MS)
HOURS = 20
STEP_MS = 20 * MINUTE_MS
LEASE_S = 600.0
"""Longer than a test: a lease runs out when a test says so, not because the machine is busy."""

TURNS_MOST = 4
"""One gives sheds up, another takes them at its next turn."""

SHEDS = ("boiler", "glass", "potting", "tool")
PLACE = Setup(
    {name: Shed(name, name, air_probe=f"air-{name}") for name in SHEDS},
    {f"bin-{name}": Bin(f"bin-{name}", name) for name in SHEDS},
    {f"in-{name}": ProbePlace(f"in-{name}", name, f"bin-{name}") for name in SHEDS}
    | {f"air-{name}": ProbePlace(f"air-{name}", name, None) for name in SHEDS},
)


def history(seed: int) -> list[Reading]:
    """Return what the probes say: each bed is hot for some hours, some of it is told late."""
    rng = random.Random(seed)
    made = []
    for name in SHEDS:
        hot_h, late_h = rng.uniform(4, 14), rng.uniform(2, 20)
        for minute in range(-24 * 60, HOURS * 60, 5):
            hour = minute / 60
            at_ms = START_MS + minute * MINUTE_MS + rng.randrange(0, 4 * MINUTE_MS)
            late = late_h <= hour < late_h + 2
            received_ms = START_MS + round((late_h + 2) * HOUR_MS) if late else at_ms
            own = 13 * math.exp(-(((hour - hot_h) / 3) ** 2))
            bed = {
                "bed_temp_c": round(19.5 + own + rng.gauss(0, 0.1), 2),
                "headspace_temp_c": round(20 + own / 2 + rng.gauss(0, 0.1), 2),
                "headspace_rh_pct": round(min(100.0, 88 + own), 1),
            }
            made.append(Reading(f"in-{name}", name, at_ms, received_ms, bed))
            made.append(Reading(f"air-{name}", name, at_ms, at_ms, {"shed_temp_c": 18.5}))
    return sorted(made, key=lambda one: (one.received_at_ms, one.probe))


def journal() -> list[Entry]:
    at_ms = START_MS - 2 * HOUR_MS
    fed = Feed((Portion("melon", 1800.0),))
    return [Entry(f"feed-{name}", f"bin-{name}", at_ms, at_ms, fed, by="Ash") for name in SHEDS]


@dataclass
class Worker:
    sharing: Sharing | None
    watch: Watch


class World:
    """One store of readings, one database of records, any number of judges."""

    def __init__(self, folder: Path, address: str, seed: int) -> None:
        self.records = Records.open(address)
        self.records.save_setup(PLACE)
        for entry in journal():
            self.records.add_entry(entry)
        self.store = SqliteReadings(folder / "readings.sqlite")
        self.clock = VirtualClock(START_MS)
        self.made = history(seed)
        self._store_arrived(START_MS)
        self.workers: dict[str, Worker] = {}

    def join(self, name: str) -> None:
        sharing = Sharing(self.records, name, LEASE_S)
        sharing.start()
        self._add(name, sharing)

    def judge_alone(self) -> None:
        self._add("alone", None)

    def _add(self, name: str, sharing: Sharing | None) -> None:
        watch = Watch(
            self.records,
            self.store,
            self.clock,
            tick_s=60,
            channels=["email"],
            sharing=sharing,
        )
        watch.start()
        self.workers[name] = Worker(sharing, watch)

    def kill(self, name: str) -> None:
        """End a worker without a word, long enough ago for its leases to have run out.

        So everybody still judges once at each moment: what is foreseen is weighed differently when
        the same moment is judged again with the alert already open.
        """
        gone = self.workers.pop(name)
        assert gone.sharing is not None
        gone.sharing._stopping.set()
        gone.sharing._thread.join()
        self.records.renew(name, gone.sharing._all(), -1)

    def pass_time(self, rng: random.Random) -> None:
        """Let readings come in for a while, then let everybody judge until all is judged."""
        now_ms = self.clock.now_ms() + STEP_MS
        batch = self._store_arrived(now_ms)
        self.clock.set_ms(now_ms)
        for worker in self.workers.values():
            if worker.sharing is None:
                worker.watch.take(Admitted(batch, [], [], []))
                worker.watch.tick()
                return
        for _ in range(TURNS_MOST):
            for name in rng.sample(sorted(self.workers), len(self.workers)):
                self.workers[name].watch.tick()
            if len(self.records.judged_since(now_ms)) == len(SHEDS):
                return
        raise AssertionError("a shed stays without a judge")

    def _store_arrived(self, now_ms: int) -> list[Reading]:
        """Put into the store what has arrived until then, and return it."""
        batch = [one for one in self.made if one.received_at_ms <= now_ms]
        self.made = self.made[len(batch) :]
        self.store.write(batch)
        return batch

    def close(self) -> None:
        for worker in self.workers.values():
            if worker.sharing is not None:
                worker.sharing.stop()
        self.store.close()
        self.records.close()


@pytest.fixture
def address() -> Iterator[str]:
    require("initdb")
    borrowed = cluster().borrow()
    yield borrowed
    cluster().give_back(borrowed)


def told(records: Records) -> tuple[list[Alert], list[object], list[str]]:
    """Return all alerts, their histories, and the keys of all messages."""
    alerts = sorted(records.alerts(most=1000), key=lambda one: one.id)
    histories = [records.alert_changes(one.id) for one in alerts]
    keys = [one.message.key for one in records.due_deliveries(2**60, 1000)]
    return alerts, histories, sorted(keys)


@pytest.mark.parametrize("seed", range(2))
def test_whoever_is_killed_when_the_alerts_and_messages_are_those_of_one_judge(
    tmp_path: Path, address: str, seed: int
) -> None:
    """Invariant: alerts, histories and messages of many mortal judges = those of one."""
    alone = World(tmp_path, f"sqlite:///{tmp_path / 'records.sqlite'}", seed)
    alone.judge_alone()
    (tmp_path / "several").mkdir()
    several = World(tmp_path / "several", address, seed)
    several.join("a")
    several.join("b")
    rng = random.Random(seed)
    for step in range(HOURS * HOUR_MS // STEP_MS):
        alone.pass_time(rng)
        several.pass_time(rng)
        if step % 12 == 6 and len(several.workers) > 1:
            several.kill(rng.choice(sorted(several.workers)))
        if step % 12 == 9:
            several.join(rng.choice(sorted({"a", "b", "c"} - several.workers.keys())))
    expected, got = told(alone.records), told(several.records)
    alone.close()
    several.close()
    assert len(expected[2]) >= len(SHEDS)
    assert got == expected


def test_a_judge_that_was_away_too_long_writes_nothing(tmp_path: Path, address: str) -> None:
    world = World(tmp_path, address, 1)
    world.join("a")
    world.pass_time(random.Random(1))
    sleeper = world.workers["a"]
    world.kill("a")
    world.join("b")
    world.workers["b"].watch.tick()
    assert set(world.records.holders(SHED).values()) == {"b"}
    world.clock.set_ms(world.clock.now_ms() + STEP_MS)
    assert sleeper.sharing is not None
    mine = sleeper.sharing._held[SHED]
    sleeper.sharing.share = lambda *_: {one.name: one for one in mine}  # type: ignore[method-assign]
    assert sleeper.watch.tick() == []
    assert world.workers["b"].watch.tick() != []
    world.close()


def test_what_could_not_be_written_is_judged_again(tmp_path: Path, address: str) -> None:
    world = World(tmp_path, address, 0)
    world.join("a")
    save, failures = world.records.save_judgement, [OSError("gone"), OSError("gone")]

    def unreliable(*given: object, **more: object) -> None:
        if failures:
            raise failures.pop()
        save(*given, **more)  # type: ignore[arg-type]

    world.records.save_judgement = unreliable  # type: ignore[method-assign]
    watch = world.workers["a"].watch
    world.clock.set_ms(START_MS + STEP_MS)
    for _ in range(2):
        with pytest.raises(OSError, match="gone"):
            watch.tick()
    assert {one.bin for one in watch.tick()} == set(PLACE.bins)
    world.close()


def test_a_store_that_was_away_for_a_tick_is_not_read_anew(tmp_path: Path, address: str) -> None:
    world = World(tmp_path, address, 0)
    world.join("a")
    ask, absences = (
        world.store.arrived_since,
        [StoreError("InfluxDB", value="away", expected="an answer", next_step="Wait.")],
    )

    def unreliable(received_at_ms: int, most: int) -> list[Reading]:
        if absences:
            raise absences.pop()
        return ask(received_at_ms, most)

    def never(*_: object) -> None:
        raise AssertionError("the windows are filled again")

    world.store.arrived_since = unreliable  # type: ignore[method-assign]
    world.store.buckets_of_all = never  # type: ignore[method-assign,assignment]
    world.clock.set_ms(START_MS + STEP_MS)
    with pytest.raises(StoreError):
        world.workers["a"].watch.tick()
    assert {one.bin for one in world.workers["a"].watch.tick()} == set(PLACE.bins)
    world.close()
