"""The store equals a plain dictionary of everything ever written, whatever happens in between."""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import ClassVar

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)

from storage.influx_front import Fault, Front
from storage.influxd import Influxd
from storage.kept import Kept, KeptInInflux
from storage.readings_places import START_MS, Rows, all_rows, check_buckets, timed, untimed
from underlid.clock import VirtualClock
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.influx.trouble import AwayError
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

PROBES = ["tansy-1", "sorrel-1", "fennel-1"]
END_MS = START_MS + 3 * DAY_MS
PACKS_MS = [START_MS + hours * HOUR_MS for hours in (5, 11, 27, 50, 100)]

values = st.dictionaries(
    st.sampled_from(["bed_temp_c", "soil_raw", "headspace_rh_pct"]),
    st.one_of(
        st.integers(-500, 4095).map(lambda tenths: tenths / 10),
        st.floats(-1e9, 1e9, allow_subnormal=False),
    ),
    min_size=1,
)
moments = st.one_of(
    st.integers(0, 3 * 24 * 4 - 1).map(lambda quarter: START_MS + quarter * 15 * MINUTE_MS),
    st.integers(START_MS, END_MS - 1),
)
written = st.lists(st.tuples(st.sampled_from(PROBES), moments, values), max_size=25)


class StoreAndDictionary(RuleBasedStateMachine):
    """Writes, packs, reopens; after each step both say the same."""

    make: ClassVar[Callable[[Path], Kept]]

    @initialize()
    def start(self) -> None:
        self.folder = tempfile.TemporaryDirectory(prefix="underlid-")
        self.kept = type(self).make(Path(self.folder.name))
        self.store = self.kept.open()
        self.model: dict[str, Rows] = {probe: {} for probe in PROBES}
        self.newest: dict[str, dict[str, tuple[int, float]]] = {probe: {} for probe in PROBES}
        self.numbers: Counter[str] = Counter()

    def note(self, probe: str, at_ms: int, row: dict[str, float]) -> None:
        self.model[probe].setdefault(at_ms, {}).update(row)
        for name, value in row.items():
            if at_ms >= self.newest[probe].get(name, (0, 0.0))[0]:
                self.newest[probe][name] = (at_ms, value)

    @rule(rows=written)
    def write(self, rows: list[tuple[str, int, dict[str, float]]]) -> None:
        self.store.write([timed(*row) for row in rows])
        for row in rows:
            self.note(*row)

    @rule(probe=st.sampled_from(PROBES), at_ms=moments, row=values, resends=st.integers(0, 2))
    def write_untimed(self, probe: str, at_ms: int, row: dict[str, float], resends: int) -> None:
        self.numbers[probe] += 1
        seq = self.numbers[probe]
        stored = self.store.write([untimed(probe, at_ms, row, seq)])
        self.note(probe, stored[0].taken_at_ms, row)
        for n in range(resends):
            assert self.store.write([untimed(probe, at_ms + 1 + n, row, seq)]) == []

    @rule(now_ms=st.sampled_from(PACKS_MS))
    def settle(self, now_ms: int) -> None:
        self.kept.settle(self.store, now_ms)

    @rule()
    def reopen(self) -> None:
        self.kept.close_all()
        self.store = self.kept.open()

    @invariant()
    def same_rows(self) -> None:
        for probe, rows in self.model.items():
            assert all_rows(self.store, probe) == rows

    @invariant()
    def same_newest(self) -> None:
        seen = {one.probe: one for one in self.store.probes_seen()}
        assert set(seen) == {probe for probe, rows in self.model.items() if rows}
        for probe, one in seen.items():
            assert one.first_taken_at_ms == min(self.model[probe])
            assert one.last_taken_at_ms == max(self.model[probe])
            expected = {name: value for name, (_, value) in self.newest[probe].items()}
            assert one.last_values == expected

    @rule(step_ms=st.sampled_from([7 * MINUTE_MS, HOUR_MS, 3 * HOUR_MS, 5 * HOUR_MS, DAY_MS]))
    def same_buckets(self, step_ms: int) -> None:
        start_ms, end_ms = START_MS + 5 * HOUR_MS, END_MS
        together = dict(self.store.buckets_of_all(PROBES, start_ms, end_ms, step_ms))
        for probe, rows in self.model.items():
            found = self.store.buckets(probe, start_ms, end_ms, step_ms)
            first_ms, last_ms = int(found.start_ms[0]), int(found.start_ms[-1]) + step_ms
            inside = {at: row for at, row in rows.items() if first_ms <= at < last_ms}
            check_buckets(found, inside, start_ms, end_ms)
            only = self.store.buckets(probe, start_ms, end_ms, step_ms, {"soil_raw"})
            soil = {
                at: {"soil_raw": row["soil_raw"]} for at, row in inside.items() if "soil_raw" in row
            }
            check_buckets(only, soil, start_ms, end_ms)
            assert (probe in together) == bool(rows)
            if rows:
                check_buckets(together[probe], inside, start_ms, end_ms)

    def teardown(self) -> None:
        if hasattr(self, "store"):
            self.kept.close()
            self.folder.cleanup()


class FileAndDictionary(StoreAndDictionary):
    """On SQLite, which may also be written to, or stopped, between two steps of packing."""

    def steps(self, now_ms: int) -> Iterator[int]:
        assert isinstance(self.store, SqliteReadings)
        return self.store.pack_steps(now_ms)

    @rule(now_ms=st.sampled_from(PACKS_MS), rows=written, steps=st.integers(0, 4))
    def pack_and_write_between(
        self, now_ms: int, rows: list[tuple[str, int, dict[str, float]]], steps: int
    ) -> None:
        packing = self.steps(now_ms)
        for _ in range(steps):
            next(packing, None)
        self.write(rows)
        for _ in packing:
            pass

    @rule(now_ms=st.sampled_from(PACKS_MS), steps=st.integers(0, 4))
    def stop_while_packing(self, now_ms: int, steps: int) -> None:
        packing = self.steps(now_ms)
        for _ in range(steps):
            next(packing, None)
        packing.close()
        self.reopen()


class ServerAndDictionary(StoreAndDictionary):
    """On InfluxDB, where a batch may be sent at any time, or be stored without our knowing."""

    @rule()
    def send(self) -> None:
        assert isinstance(self.store, InfluxReadings)
        self.store.drain.empty()

    @rule()
    def send_in_vain(self) -> None:
        assert isinstance(self.store, InfluxReadings)
        assert isinstance(self.kept, KeptInInflux)
        self.kept.front.faults.append(Fault(cut=True))
        with suppress(AwayError):
            self.store.drain.step()
        self.kept.front.faults.clear()


def test_the_store_equals_a_dictionary() -> None:
    FileAndDictionary.make = staticmethod(lambda folder: Kept(folder, VirtualClock(START_MS)))
    run_state_machine_as_test(
        FileAndDictionary,
        settings=settings(max_examples=25, stateful_step_count=12),
    )


def test_the_server_equals_a_dictionary(influxd: Influxd, front: Front) -> None:
    ServerAndDictionary.make = staticmethod(
        lambda folder: KeptInInflux(folder, VirtualClock(START_MS), influxd, front)
    )
    run_state_machine_as_test(
        ServerAndDictionary,
        settings=settings(max_examples=8, stateful_step_count=10),
    )
