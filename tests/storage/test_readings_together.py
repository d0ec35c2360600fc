"""Reading, writing and packing at the same time: nobody waits for long, nobody sees half of it."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from storage.readings_places import FOREVER_MS, START_MS, all_rows, timed
from underlid.storage.readers import IDLE_MOST
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

BATCHES = 150
ROWS_A_BATCH = 20


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteReadings]:
    made = SqliteReadings(tmp_path / "readings.sqlite")
    yield made
    made.close()


def test_every_reader_sees_whole_batches_in_order(store: SqliteReadings) -> None:
    done = threading.Event()
    troubles: list[str] = []

    def read() -> None:
        newest = 0
        while not done.is_set():
            series = store.raw("tansy-1", 0, FOREVER_MS)
            size = len(series.taken_at_ms)
            hours = store.buckets("tansy-1", START_MS, START_MS + 90 * DAY_MS, HOUR_MS)
            counted = int(hours.count["bed_temp_c"].sum()) if "bed_temp_c" in hours.count else 0
            if size % ROWS_A_BATCH or counted % ROWS_A_BATCH:
                troubles.append(f"half a batch: {size}, {counted}")
            if not newest <= size <= counted:
                troubles.append(f"went back from {newest} to {size}, {counted}")
            newest = size

    def pack() -> None:
        while not done.is_set():
            seen = store.probe_seen("tansy-1")
            store.pack(seen.last_taken_at_ms if seen else START_MS)
            store.checkpoint()

    threads = [threading.Thread(target=target) for target in (read, read, read, pack)]
    for thread in threads:
        thread.start()
    for number in range(BATCHES):
        first_ms = START_MS + number * ROWS_A_BATCH * 10 * MINUTE_MS
        store.write(
            [
                timed("tansy-1", first_ms + n * 10 * MINUTE_MS, {"bed_temp_c": float(number)})
                for n in range(ROWS_A_BATCH)
            ]
        )
    done.set()
    for thread in threads:
        thread.join()
    assert troubles == []
    assert len(all_rows(store, "tansy-1")) == BATCHES * ROWS_A_BATCH


def test_writing_goes_on_while_a_reader_holds_its_snapshot(store: SqliteReadings) -> None:
    store.write([timed("tansy-1", START_MS, {"bed_temp_c": 20.0})])
    reading = store.buckets_of_all(["tansy-1"], START_MS, START_MS + DAY_MS, HOUR_MS)
    _, before = next(reading)
    store.write([timed("tansy-1", START_MS + 1, {"bed_temp_c": 21.0})])
    store.pack(START_MS + 3 * DAY_MS)
    store.checkpoint()
    assert before.count["bed_temp_c"].sum() == 1
    reading.close()
    assert len(all_rows(store, "tansy-1")) == 2


def test_many_threads_that_come_and_go_leave_few_connections(store: SqliteReadings) -> None:
    store.write([timed("tansy-1", START_MS, {"bed_temp_c": 20.0})])
    for _ in range(5):
        threads = [threading.Thread(target=all_rows, args=(store, "tansy-1")) for _ in range(20)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert len(store._readers._idle) <= IDLE_MOST
