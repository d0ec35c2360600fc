"""Packing: late rows, rows that come in the meantime, what is forgotten and when."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from storage.readings_places import FOREVER_MS, START_MS, all_rows, check_buckets, timed
from underlid.storage.late import LATE_MOST
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

LATER_MS = START_MS + 3 * DAY_MS


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteReadings]:
    made = SqliteReadings(tmp_path / "readings.sqlite")
    yield made
    made.close()


def hot_rows(store: SqliteReadings) -> int:
    with store._readers.snapshot() as reader:
        return int(reader.execute("SELECT count(*) FROM hot").fetchone()[0])


def a_day(store: SqliteReadings, probe: str, day: int = 0) -> None:
    store.write(
        [
            timed(probe, START_MS + day * DAY_MS + minute * MINUTE_MS, {"bed_temp_c": 20.0 + day})
            for minute in range(0, 24 * 60, 10)
        ]
    )


def test_only_closed_hours_are_packed(store: SqliteReadings) -> None:
    a_day(store, "tansy-1")
    assert store.pack(START_MS + 5 * HOUR_MS) == 0
    assert store.pack(START_MS + 6 * HOUR_MS) == 24
    assert hot_rows(store) == 120
    assert store.pack(START_MS + DAY_MS + 2 * HOUR_MS) == 120
    assert hot_rows(store) == 0
    assert len(all_rows(store, "tansy-1")) == 144


def test_late_rows_are_merged_into_block_and_hours(store: SqliteReadings) -> None:
    a_day(store, "tansy-1")
    store.pack(LATER_MS)
    store.write([timed("tansy-1", START_MS + 5, {"bed_temp_c": 30.0, "soil_raw": 1843.0})])
    for _ in range(2):
        rows = all_rows(store, "tansy-1")
        assert len(rows) == 145
        found = store.buckets("tansy-1", START_MS, START_MS + DAY_MS, HOUR_MS)
        check_buckets(found, rows, START_MS, START_MS + DAY_MS)
        store.pack(LATER_MS)
    assert hot_rows(store) == 0


def test_rows_that_come_while_their_day_is_packed_are_kept(store: SqliteReadings) -> None:
    a_day(store, "tansy-1")
    steps = store.pack_steps(LATER_MS)
    next(steps)
    store.write([timed("tansy-1", START_MS + 1, {"bed_temp_c": 25.0})])
    store.write([timed("tansy-1", START_MS, {"soil_raw": 7.0})])
    list(steps)
    assert hot_rows(store) == 2
    rows = all_rows(store, "tansy-1")
    assert len(rows) == 145
    assert rows[START_MS + 1] == {"bed_temp_c": 25.0}
    assert rows[START_MS] == {"bed_temp_c": 20.0, "soil_raw": 7.0}
    store.pack(LATER_MS)
    assert hot_rows(store) == 0
    assert all_rows(store, "tansy-1") == rows


def test_an_import_into_the_span_that_is_packed_postpones_it(store: SqliteReadings) -> None:
    a_day(store, "tansy-1")
    steps = store.pack_steps(LATER_MS)
    next(steps)
    store.write(
        [timed("sorrel-1", START_MS + n, {"bed_temp_c": n / 10}) for n in range(LATE_MOST + 1)]
    )
    list(steps)
    assert hot_rows(store) == 144 + LATE_MOST + 1
    store.pack(LATER_MS)
    assert hot_rows(store) == 0
    assert len(all_rows(store, "tansy-1")) == 144
    assert len(all_rows(store, "sorrel-1")) == LATE_MOST + 1


def test_many_rows_of_one_millisecond_are_deleted(store: SqliteReadings) -> None:
    store.write([timed(f"probe-{n}", START_MS, {"bed_temp_c": 20.0}) for n in range(2500)])
    store.pack(LATER_MS)
    assert hot_rows(store) == 0
    assert len(all_rows(store, "probe-2499")) == 1


def test_raw_and_hours_are_forgotten_when_they_are_old(tmp_path: Path) -> None:
    store = SqliteReadings(tmp_path / "readings.sqlite", raw_days=5, hourly_days=10)
    for day in range(20):
        a_day(store, "tansy-1", day)
    store.pack(START_MS + 20 * DAY_MS + 2 * HOUR_MS)
    assert min(all_rows(store, "tansy-1")) == START_MS + 15 * DAY_MS
    hours = store.buckets("tansy-1", START_MS, START_MS + 20 * DAY_MS, DAY_MS)
    assert hours.count["bed_temp_c"].tolist() == [0] * 10 + [144] * 10
    seen = store.probe_seen("tansy-1")
    assert seen is not None
    assert seen.first_taken_at_ms == START_MS
    store.close()


def test_late_rows_of_a_forgotten_day_fill_empty_hours_only(tmp_path: Path) -> None:
    store = SqliteReadings(tmp_path / "readings.sqlite", raw_days=5)
    store.write(
        [
            timed("tansy-1", START_MS + minute * MINUTE_MS, {"bed_temp_c": 20.0})
            for minute in range(0, 12 * 60, 10)
        ]
    )
    now_ms = START_MS + 20 * DAY_MS
    store.pack(now_ms)
    assert all_rows(store, "tansy-1") == {}
    store.write(
        [
            timed("tansy-1", START_MS, {"bed_temp_c": 99.0}),
            timed("tansy-1", START_MS + 13 * HOUR_MS, {"bed_temp_c": 21.0, "soil_raw": 5.0}),
        ]
    )
    for _ in range(3):
        found = store.buckets("tansy-1", START_MS, START_MS + DAY_MS, HOUR_MS)
        assert found.count["bed_temp_c"].tolist() == [6] * 12 + [0, 1] + [0] * 10
        assert found.high["bed_temp_c"][0] == 20.0
        assert found.mean["bed_temp_c"][13] == 21.0
        assert found.count["soil_raw"].sum() == 1
        store.pack(now_ms)
    assert all_rows(store, "tansy-1") == {}


def test_a_packed_day_is_a_fifth_of_its_rows_or_less(store: SqliteReadings) -> None:
    chance = np.random.default_rng(7)
    walk = np.cumsum(chance.normal(0, 0.05, (5, 1440)), axis=1).round(2)
    names = ["bed_temp_c", "headspace_temp_c", "shed_temp_c", "lid_temp_c", "headspace_rh_pct"]
    store.write(
        [
            timed(
                "tansy-1",
                START_MS + minute * MINUTE_MS,
                {
                    **{name: round(20 + walk[k, minute], 2) for k, name in enumerate(names)},
                    "soil_raw": float(1800 + chance.integers(0, 12)),
                },
                delay_ms=int(chance.integers(20, 200)),
            )
            for minute in range(1440)
        ]
    )
    store.pack(LATER_MS)
    with store._readers.snapshot() as reader:
        block, hours = (
            reader.execute(statement).fetchone()[0]
            for statement in (
                "SELECT sum(length(block)) FROM packed_day",
                "SELECT sum(length(sums)) FROM hourly",
            )
        )
    assert (block + hours) / 1440 < 10


def test_closing_stops_a_packing_after_its_step(store: SqliteReadings) -> None:
    for day in range(3):
        a_day(store, "tansy-1", day)
    steps = store.pack_steps(LATER_MS + DAY_MS)
    next(steps)
    store._closing = True
    assert list(steps) == []
    store._closing = False
    assert hot_rows(store) == 3 * 144
    assert len(store.raw("tansy-1", 0, FOREVER_MS).taken_at_ms) == 3 * 144
