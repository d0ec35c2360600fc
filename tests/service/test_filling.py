"""Windows filled while others go on writing: no reading is missing from them, none is in twice."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from underlid.binmodel.bins import Bin, ProbePlace, Setup, Shed
from underlid.binmodel.probes.hot import BUCKET_MS
from underlid.clock import VirtualClock
from underlid.judge import Judge
from underlid.readings.values import Reading
from underlid.storage.arrivals import Arrivals
from underlid.storage.protocols import Buckets
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, SECOND_MS
from underlid.workers import filling
from underlid.workers.filling import fill_while_others_write

START_MS = 20_000 * DAY_MS
PROBES = [f"in-{n}" for n in range(45)]
SETUP = Setup(
    {"potting": Shed("potting", "potting")},
    {f"bin-{probe}": Bin(f"bin-{probe}", "potting") for probe in PROBES},
    {probe: ProbePlace(probe, "potting", f"bin-{probe}") for probe in PROBES},
)


class BusyStore(SqliteReadings):
    """A store into which another worker writes whenever a probe has been read."""

    def __init__(self, path: Path, clock: VirtualClock) -> None:
        super().__init__(path)
        self.clock = clock
        self.filled: list[str] = []
        self.until_ms = START_MS + HOUR_MS

    def buckets_of_all(
        self, probes: object, start_ms: int, end_ms: int, step_ms: int
    ) -> Iterator[tuple[str, Buckets]]:
        for probe, found in super().buckets_of_all(list(probes), start_ms, end_ms, step_ms):  # type: ignore[call-overload]
            self.filled.append(probe)
            other = threading.Thread(target=self.others_write)
            other.start()
            other.join()
            yield probe, found

    def others_write(self) -> None:
        """Write what three probes say, a second and a half after the others did."""
        now_ms = self.clock.now_ms() + 500
        self.clock.set_ms(now_ms)
        if now_ms < self.until_ms:
            at = now_ms // 500
            some = [PROBES[(at * 3 + n) % len(PROBES)] for n in range(3)]
            self.write([said(probe, now_ms) for probe in some])


def said(probe: str, at_ms: int) -> Reading:
    return Reading(probe, "potting", at_ms, at_ms, {"bed_temp_c": 20.0 + at_ms % 7})


def counts(judge: Judge, probe: str) -> list[int]:
    """Return how many readings each bucket of a probe's window holds."""
    first = (START_MS - HOUR_MS) // BUCKET_MS
    judge._settle(first + 2 * HOUR_MS // BUCKET_MS)
    channel = judge._probes[probe].counts("bed_temp_c", first, first + 36)
    return [int(one) for one in channel]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[BusyStore]:
    made = BusyStore(tmp_path / "readings.sqlite", VirtualClock(START_MS))
    made.write([said(p, START_MS - age * SECOND_MS) for age in range(10, 900, 30) for p in PROBES])
    yield made
    made.close()


def test_every_reading_is_in_the_window_once(store: BusyStore) -> None:
    arrivals = Arrivals(store, START_MS)
    judge = Judge(SETUP, START_MS)
    fill_while_others_write(judge, store, arrivals, PROBES, store.clock)
    for news in arrivals.news(store.clock.now_ms()):
        judge.add_readings(news)
    now_ms = store.clock.now_ms()
    assert now_ms > START_MS + len(PROBES) * 500
    for probe in PROBES:
        raw = store.raw(probe, START_MS - HOUR_MS, now_ms + 1)
        expected = [0] * 36
        for at_ms in raw.taken_at_ms.tolist():
            expected[at_ms // BUCKET_MS - (START_MS - HOUR_MS) // BUCKET_MS] += 1
        assert counts(judge, probe) == expected, probe


def test_probes_that_report_now_and_then_are_filled_about_once(store: BusyStore) -> None:
    """Filled all together, each would be filled again and again."""
    store.until_ms = START_MS + 15 * SECOND_MS
    fill_while_others_write(
        Judge(SETUP, START_MS), store, Arrivals(store, START_MS), PROBES, store.clock
    )
    assert len(store.filled) < 2 * len(PROBES)
    assert set(store.filled) == set(PROBES)
    assert len(PROBES) > filling.PROBES_AT_ONCE
