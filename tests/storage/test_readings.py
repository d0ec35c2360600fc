"""The SQLite file itself: full disks, foreign files, damage, copies, the log."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from storage.readings_places import FOREVER_MS, START_MS, all_rows, timed, untimed
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.storage.trouble import StoreError, StoreFullError, StoreVersionError
from underlid.timeline import DAY_MS


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteReadings]:
    made = SqliteReadings(tmp_path / "readings.sqlite")
    yield made
    made.close()


def full(store: SqliteReadings) -> None:
    """Leave the file no room to grow."""
    pages = store._hot.connection.execute("PRAGMA page_count").fetchone()[0]
    store._hot.connection.execute(f"PRAGMA max_page_count = {pages}")


def roomy(store: SqliteReadings) -> None:
    store._hot.connection.execute("PRAGMA max_page_count = 1000000")


def test_a_full_disk_stores_nothing_and_says_so(store: SqliteReadings) -> None:
    store.write([timed("tansy-1", START_MS, {"bed_temp_c": 22.4})])
    full(store)
    many = [
        timed(f"new-{n}", START_MS + n, {"bed_temp_c": 1.0, f"extra_{n % 9}": 2.0})
        for n in range(5000)
    ]
    with pytest.raises(StoreFullError, match="disk is full"):
        store.write(many)
    assert len(store.probes_seen()) == 1
    assert all_rows(store, "new-1") == {}
    roomy(store)
    # The ids that were rolled back go to others now; nothing may be mixed up by it.
    store.write([timed("other", START_MS, {"extra_8": 8.0, "extra_7": 7.0})])
    store.write(many)
    assert len(store.probes_seen()) == 5002
    assert all_rows(store, "other") == {START_MS: {"extra_8": 8.0, "extra_7": 7.0}}
    assert all_rows(store, "new-4999") == {START_MS + 4999: {"bed_temp_c": 1.0, "extra_4": 2.0}}


def test_a_full_disk_stops_packing_and_loses_nothing(store: SqliteReadings) -> None:
    store.write([timed(f"probe-{n % 9}", START_MS + n, {"bed_temp_c": n / 7}) for n in range(2000)])
    before = {f"probe-{n}": all_rows(store, f"probe-{n}") for n in range(9)}
    full(store)
    with pytest.raises(StoreFullError):
        store.pack(START_MS + 2 * DAY_MS)
    assert {probe: all_rows(store, probe) for probe in before} == before
    roomy(store)
    assert store.pack(START_MS + 2 * DAY_MS) >= 2000
    assert {probe: all_rows(store, probe) for probe in before} == before


def test_a_mistake_in_a_batch_leaves_no_half_of_it(store: SqliteReadings) -> None:
    good = timed("tansy-1", START_MS, {"bed_temp_c": 22.4})
    too_long = untimed("sorrel-1", START_MS, {"bed_temp_c": 1.0}, seq=2**70)
    with pytest.raises(OverflowError):
        store.write([good, too_long])
    assert store.probes_seen() == []
    store.write([good])
    assert [one.probe for one in store.probes_seen()] == ["tansy-1"]


def test_a_file_of_a_newer_underlid_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "readings.sqlite"
    SqliteReadings(path).close()
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(StoreVersionError, match="99"):
        SqliteReadings(path)


def test_a_file_of_another_program_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE theirs (a)")
    with pytest.raises(StoreError, match="another program"):
        SqliteReadings(path)
    with sqlite3.connect(path) as connection:
        assert connection.execute("SELECT name FROM sqlite_master").fetchall() == [("theirs",)]
    text = tmp_path / "notes.txt"
    text.write_text("not a database at all, but long enough to be looked at" * 100)
    with pytest.raises(StoreError, match="not a database"):
        SqliteReadings(text)
    with pytest.raises(StoreError, match="unable to open"):
        SqliteReadings(tmp_path / "nowhere" / "readings.sqlite")


def test_a_damaged_block_is_named(store: SqliteReadings) -> None:
    store.write([timed("tansy-1", START_MS, {"bed_temp_c": 22.4})])
    store.pack(START_MS + 2 * DAY_MS)
    store._hot.connection.execute("UPDATE packed_day SET block = x'01ff'")
    with pytest.raises(StoreError, match="packed day"):
        store.raw("tansy-1", 0, FOREVER_MS)


def test_a_backup_while_in_use_is_a_whole_store(store: SqliteReadings, tmp_path: Path) -> None:
    store.write([timed("tansy-1", START_MS, {"bed_temp_c": 22.4})])
    store.backup_to(tmp_path / "copy.sqlite")
    copy = SqliteReadings(tmp_path / "copy.sqlite")
    assert all_rows(copy, "tansy-1") == {START_MS: {"bed_temp_c": 22.4}}
    copy.close()


def test_the_log_is_emptied_by_checkpoints_and_the_size_counts_it(store: SqliteReadings) -> None:
    for n in range(200):
        store.write([timed("tansy-1", START_MS + n, {"bed_temp_c": 22.4})])
    log = store.path.with_name(store.path.name + "-wal")
    before = log.stat().st_size
    assert store.size_bytes() == store.path.stat().st_size + before
    store.checkpoint()
    store.write([timed("tansy-1", START_MS + 999, {"bed_temp_c": 22.4})])
    assert log.stat().st_size == before
    assert len(all_rows(store, "tansy-1")) == 201
