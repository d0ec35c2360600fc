"""What is written is read back; resends, new channels, rejections, full disks, foreign files."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from storage.readings_places import FOREVER_MS, START_MS, all_rows, timed, untimed
from underlid.readings.values import RawMessage, Reading, Rejected, RejectReason, TimeSource
from underlid.storage.hot import CHANNELS_MOST
from underlid.storage.rejects import REJECTS_KEPT
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.storage.trouble import StoreError, StoreFullError, StoreVersionError
from underlid.timeline import DAY_MS, HOUR_MS


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteReadings]:
    made = SqliteReadings(tmp_path / "readings.sqlite")
    yield made
    made.close()


def test_channels_of_one_time_and_probe_become_one_row(store: SqliteReadings) -> None:
    store.write([timed("tansy-1", START_MS, {"bed_temp_c": 22.4})])
    store.write([timed("tansy-1", START_MS, {"headspace_rh_pct": 91.0})])
    store.write([timed("sorrel-1", START_MS, {"bed_temp_c": 19.0})])
    assert all_rows(store, "tansy-1") == {START_MS: {"bed_temp_c": 22.4, "headspace_rh_pct": 91.0}}
    assert all_rows(store, "nobody") == {}


def test_delay_and_time_source_are_kept(store: SqliteReadings) -> None:
    store.write(
        [
            timed("tansy-1", START_MS, {"bed_temp_c": 22.4}, delay_ms=HOUR_MS),
            Reading(
                "tansy-1",
                "potting",
                START_MS + 5,
                START_MS + 5,
                {"bed_temp_c": 22.5},
                TimeSource.RECEIPT_CLOCK_UNSET,
            ),
        ]
    )
    for _ in range(2):
        series = store.raw("tansy-1", 0, FOREVER_MS)
        assert series.received_at_ms.tolist() == [START_MS + HOUR_MS, START_MS + 5]
        assert series.time_source.tolist() == [TimeSource.DEVICE, TimeSource.RECEIPT_CLOCK_UNSET]
        store.pack(START_MS + 2 * DAY_MS)


@pytest.mark.parametrize("packed", [False, True])
def test_a_resend_keeps_the_first_receipt_and_a_new_channel_takes_the_later(
    store: SqliteReadings, packed: bool
) -> None:
    def write(*readings: Reading) -> None:
        store.write(readings)
        if packed:
            store.pack(START_MS + 2 * DAY_MS)

    write(
        timed("tansy-1", START_MS, {"bed_temp_c": 22.4}, delay_ms=10),
        timed("sorrel-1", START_MS, {"bed_temp_c": 22.4}, delay_ms=10),
    )
    write(
        timed("tansy-1", START_MS, {"bed_temp_c": 22.4}, delay_ms=5000),
        timed("sorrel-1", START_MS, {"soil_raw": 1843.0}, delay_ms=5000),
    )
    assert store.raw("tansy-1", 0, FOREVER_MS).received_at_ms.tolist() == [START_MS + 10]
    assert store.raw("sorrel-1", 0, FOREVER_MS).received_at_ms.tolist() == [START_MS + 5000]


def test_a_numbered_message_without_a_time_is_stored_once(tmp_path: Path) -> None:
    path = tmp_path / "readings.sqlite"
    store = SqliteReadings(path)
    first = untimed("tansy-1", START_MS, {"bed_temp_c": 20.0}, seq=7)
    assert store.write([first]) == [first]
    store.close()
    store = SqliteReadings(path)
    again = untimed("tansy-1", START_MS + 9000, {"bed_temp_c": 20.0}, seq=7)
    after = untimed("tansy-1", START_MS + 9001, {"bed_temp_c": 20.1}, seq=8)
    clock_set = Reading("tansy-1", "potting", START_MS - 80, START_MS, {"bed_temp_c": 20.0}, seq=7)
    assert store.write([again, after, clock_set]) == [after]
    counted_anew = untimed("tansy-1", START_MS + 9002, {"bed_temp_c": 25.0}, seq=7)
    assert store.write([counted_anew]) == [counted_anew]
    assert sorted(all_rows(store, "tansy-1")) == [START_MS, START_MS + 9001, START_MS + 9002]
    store.close()


def test_readings_of_one_numbered_message_are_all_stored(store: SqliteReadings) -> None:
    pack_of_two = [
        Reading("tansy-1", "potting", at, START_MS, {"bed_temp_c": 20.0}, TimeSource.RECEIPT, 3)
        for at in (START_MS - 60_000, START_MS)
    ]
    store.write(pack_of_two)
    assert len(all_rows(store, "tansy-1")) == 2


def test_untimed_readings_of_one_millisecond_do_not_overwrite_each_other(
    store: SqliteReadings,
) -> None:
    values = [{"bed_temp_c": 20.0 + n} for n in range(40)]
    for first in range(0, 40, 10):  # four commits, all received in the same millisecond
        store.write([untimed("tansy-1", START_MS, one) for one in values[first : first + 10]])
    stored = store.write([untimed("tansy-1", START_MS + 3, {"bed_temp_c": 80.0})])
    assert [one.taken_at_ms for one in stored] == [START_MS + 40]
    store.write([untimed("tansy-1", START_MS + 3, {"soil_raw": 1843.0})])
    rows = all_rows(store, "tansy-1")
    assert [row["bed_temp_c"] for row in rows.values()] == [*range(20, 60), 80]
    assert rows[START_MS + 3] == {"bed_temp_c": 23.0, "soil_raw": 1843.0}


def test_what_is_known_of_a_probe_survives_packing_and_reopening(tmp_path: Path) -> None:
    path = tmp_path / "readings.sqlite"
    store = SqliteReadings(path)
    store.write([timed("tansy-1", START_MS + HOUR_MS, {"bed_temp_c": 22.4, "battery_v": 3.9})])
    store.write([timed("tansy-1", START_MS + 2 * DAY_MS, {"bed_temp_c": 23.0}, delay_ms=7)])
    store.write([timed("tansy-1", START_MS, {"bed_temp_c": 1.0, "battery_v": 4.0})])
    store.write([Reading("tansy-1", "lean-to", START_MS, START_MS, {"soil_raw": 5.0})])
    expected = store.probes_seen()
    assert [(one.probe, one.shed) for one in expected] == [("tansy-1", "lean-to")]
    assert expected[0].first_taken_at_ms == START_MS
    assert expected[0].last_taken_at_ms == START_MS + 2 * DAY_MS
    assert expected[0].last_received_at_ms == START_MS + 2 * DAY_MS + 7
    assert expected[0].last_values == {"bed_temp_c": 23.0, "battery_v": 3.9, "soil_raw": 5.0}
    for packed_until_ms in (0, START_MS + DAY_MS, START_MS + 9 * DAY_MS):
        store.pack(packed_until_ms)
        store.close()
        store = SqliteReadings(path)
        assert store.probes_seen() == expected
    assert store.probe_seen("tansy-1") == expected[0]
    assert store.probe_seen("nobody") is None
    store.close()


def test_channels_beyond_the_bound_are_refused_and_the_rest_stored(store: SqliteReadings) -> None:
    for first in range(0, CHANNELS_MOST, 50):
        values = {f"extra_{n}": 1.0 for n in range(first, first + 50)}
        store.write([timed("tansy-1", START_MS, values)])
    store.write(
        [
            timed("tansy-1", START_MS + 1, {"extra_1": 5.0, "one_more": 6.0}),
            timed("tansy-1", START_MS + 2, {"one_more": 6.0}),
        ]
    )
    rows = all_rows(store, "tansy-1")
    assert len(rows[START_MS]) == CHANNELS_MOST
    assert rows[START_MS + 1] == {"extra_1": 5.0}
    assert START_MS + 2 not in rows
    assert store.reject_counts() == {"bad_channel": 2}
    assert "one_more" in store.recent_rejects()[0].sentence
    store.pack(START_MS + 2 * DAY_MS)
    assert all_rows(store, "tansy-1") == rows


def test_rejected_messages_are_counted_and_the_newest_kept(store: SqliteReadings) -> None:
    message = RawMessage("underlid/v1/potting/tansy-1/\ud800" + "x" * 500, b"{" * 5000, START_MS)
    store.write([], [Rejected(RejectReason.NOT_JSON, f"number {n}", message) for n in range(700)])
    newest = store.recent_rejects(3)
    assert [one.sentence for one in newest] == ["number 699", "number 698", "number 697"]
    assert len(newest[0].message.payload) == 2048
    assert len(newest[0].message.topic) == 256
    assert len(store.recent_rejects(10_000)) == REJECTS_KEPT
    store.write([], [Rejected(RejectReason.EMPTY, "one more", message)])
    assert len(store.recent_rejects(10_000)) == REJECTS_KEPT
    assert store.reject_counts() == {"empty": 1, "not_json": 700}


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
