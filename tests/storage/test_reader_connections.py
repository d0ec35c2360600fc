"""Reading leaves nothing open behind it, whoever reads."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from underlid.readings.values import Reading
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, MINUTE_MS

START_MS = 20_000 * DAY_MS
OPEN_MOST = 8
"""Connections that may be open at rest: the writer, the checkpointer, a few for reading."""


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteReadings]:
    made = SqliteReadings(tmp_path / "readings.sqlite")
    made.write(rows(0))
    yield made
    made.close()


def rows(minute: int) -> list[Reading]:
    at_ms = START_MS + minute * MINUTE_MS
    return [
        Reading(f"bin{n}-1", "potting", at_ms, at_ms, {"bed_temp_c": 20.0 + n / 10})
        for n in range(1500)
    ]


def open_connections(path: Path) -> int:
    """Count this process's open logs of the store: one a connection.

    Not the file itself: SQLite keeps a closed connection's handle of that for the next one.
    """
    log = f"{path}-wal"
    found = 0
    for one in Path("/proc/self/fd").iterdir():
        try:
            found += str(one.readlink()) == log
        except FileNotFoundError:
            continue
    return found


def read(store: SqliteReadings) -> None:
    assert len(store.raw("bin7-1", START_MS, START_MS + DAY_MS).taken_at_ms)
    assert store.reject_counts() == {}


def test_threads_that_come_and_go_leave_no_connection(store: SqliteReadings) -> None:
    for _ in range(60):
        thread = threading.Thread(target=read, args=(store,))
        thread.start()
        thread.join()
    assert open_connections(store.path) <= OPEN_MOST


def test_a_pool_of_workers_shares_a_few_connections(store: SqliteReadings) -> None:
    with ThreadPoolExecutor(40) as pool:
        for done in [pool.submit(read, store) for _ in range(400)]:
            done.result()
        assert open_connections(store.path) <= OPEN_MOST
    store.close()
    assert open_connections(store.path) == 0
