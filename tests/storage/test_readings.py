"""The readings store equals a plain dictionary of everything ever written, whatever happens to it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.readings.values import RawMessage, Reading, Rejected, RejectReason, TimeSource
from underlid.storage.day_block import pack, unpack
from underlid.storage.hot import CHANNELS_MOST
from underlid.storage.protocols import RawSeries
from underlid.storage.rollups import bucket_starts
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.storage.trouble import StoreFullError, StoreVersionError
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

START_MS = 20_000 * DAY_MS


def reading(
    probe: str, at_ms: int, values: dict[str, float], delay_ms: int = 0, seq: int | None = None
) -> Reading:
    source = TimeSource.DEVICE if seq is None else TimeSource.RECEIPT
    return Reading(probe, "potting", at_ms, at_ms + delay_ms, values, source, seq)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteReadings]:
    made = SqliteReadings(tmp_path / "readings.sqlite")
    yield made
    made.close()


def rows_of(series: RawSeries) -> dict[int, dict[str, float]]:
    """Return a series as {time: {channel: value}}."""
    return {
        at: {
            name: column[place]
            for name, column in series.values.items()
            if not np.isnan(column[place])
        }
        for place, at in enumerate(series.taken_at_ms.tolist())
    }


def test_what_was_written_is_read_back_merged_by_time_and_probe(store: SqliteReadings) -> None:
    store.write([reading("tansy-1", START_MS, {"bed_temp_c": 22.4})])
    store.write([reading("tansy-1", START_MS, {"headspace_rh_pct": 91.0})])
    store.write([reading("sorrel-1", START_MS, {"bed_temp_c": 19.0})])
    assert rows_of(store.raw("tansy-1", START_MS, START_MS + 1)) == {
        START_MS: {"bed_temp_c": 22.4, "headspace_rh_pct": 91.0}
    }
    assert rows_of(store.raw("nobody", 0, START_MS + 1)) == {}


def test_a_resend_is_stored_once_by_time_or_by_number(store: SqliteReadings) -> None:
    timed = reading("tansy-1", START_MS, {"bed_temp_c": 22.4})
    store.write([timed, timed])
    first = reading("tansy-2", START_MS, {"bed_temp_c": 20.0}, seq=7)
    again = reading("tansy-2", START_MS + 9000, {"bed_temp_c": 20.0}, seq=7)
    store.write([first])
    store.write([again, reading("tansy-2", START_MS + 9001, {"bed_temp_c": 20.1}, seq=8)])
    assert len(store.raw("tansy-1", 0, START_MS * 2).taken_at_ms) == 1
    assert store.raw("tansy-2", 0, START_MS * 2).taken_at_ms.tolist() == [
        START_MS,
        START_MS + 9001,
    ]


def test_readings_of_one_numbered_message_are_all_stored(store: SqliteReadings) -> None:
    pack_of_two = [
        Reading("tansy-1", "potting", at, START_MS, {"bed_temp_c": 20.0}, TimeSource.RECEIPT, 3)
        for at in (START_MS - 60_000, START_MS)
    ]
    store.write(pack_of_two)
    assert len(store.raw("tansy-1", 0, START_MS * 2).taken_at_ms) == 2


written = st.lists(
    st.tuples(
        st.sampled_from(["tansy-1", "sorrel-1"]),
        st.integers(0, 4 * 24 * 6 - 1).map(lambda tens: START_MS + tens * 10 * MINUTE_MS),
        st.dictionaries(
            st.sampled_from(["bed_temp_c", "soil_raw", "headspace_rh_pct"]),
            st.one_of(
                st.integers(-500, 4095).map(lambda tenth: tenth / 10),
                st.floats(-1e150, 1e150),
            ),
            min_size=1,
        ),
    ),
    max_size=40,
)


@settings(max_examples=60, deadline=None)
@given(batches=st.lists(st.tuples(written, st.sampled_from(["", "pack", "reopen"])), max_size=6))
def test_the_store_equals_a_dictionary(
    tmp_path_factory: pytest.TempPathFactory,
    batches: list[tuple[list[tuple[str, int, dict[str, float]]], str]],
) -> None:
    path = tmp_path_factory.mktemp("store") / "readings.sqlite"
    store = SqliteReadings(path)
    model: dict[str, dict[int, dict[str, float]]] = {"tansy-1": {}, "sorrel-1": {}}
    for rows, then in batches:
        store.write([reading(*row) for row in rows])
        for probe, at_ms, values in rows:
            model[probe].setdefault(at_ms, {}).update(values)
        if then == "pack":
            store.pack(START_MS + 3 * DAY_MS)
        elif then == "reopen":
            store.close()
            store = SqliteReadings(path)
    for probe, expected in model.items():
        assert rows_of(store.raw(probe, START_MS, START_MS + 5 * DAY_MS)) == expected
        check_buckets(store, probe, expected, HOUR_MS)
        check_buckets(store, probe, expected, 5 * MINUTE_MS)
    seen = {one.probe: one for one in store.probes_seen()}
    assert {probe for probe, rows in model.items() if rows} == set(seen)
    for probe, one in seen.items():
        assert one.last_taken_at_ms == max(model[probe])
    store.close()


def check_buckets(
    store: SqliteReadings, probe: str, rows: dict[int, dict[str, float]], step_ms: int
) -> None:
    """Compare the store's sums with sums made the slow way."""
    start_ms, end_ms = START_MS + 7 * HOUR_MS, START_MS + 80 * HOUR_MS
    found = store.buckets(probe, start_ms, end_ms, step_ms)
    assert found.start_ms.tolist() == bucket_starts(start_ms, end_ms, step_ms).tolist()
    for place, start in enumerate(found.start_ms.tolist()):
        for name in ("bed_temp_c", "soil_raw", "headspace_rh_pct"):
            values = [
                row[name]
                for at, row in rows.items()
                if name in row and start <= at < start + step_ms
            ]
            if not values:
                assert name not in found.count or found.count[name][place] == 0
                continue
            assert found.count[name][place] == len(values)
            assert found.low[name][place] == min(values)
            assert found.high[name][place] == max(values)
            scale = max(abs(value) for value in values)
            assert abs(found.mean[name][place] - np.mean(values)) <= 1e-9 * scale


@settings(deadline=None)
@given(
    times=st.sets(st.integers(0, DAY_MS - 1), min_size=1, max_size=50),
    values=st.lists(
        st.one_of(st.just(float("nan")), st.floats(allow_infinity=False)), min_size=50, max_size=50
    ),
)
def test_a_block_gives_back_every_bit(times: set[int], values: list[float]) -> None:
    taken = np.array(sorted(times), np.int64) + START_MS
    column = np.array(values[: len(taken)])
    day = RawSeries(taken, taken + 1500, {"bed_temp_c": column, "soil_raw": np.round(column)})
    back = unpack(pack(day))
    assert np.array_equal(back.taken_at_ms, day.taken_at_ms)
    assert np.array_equal(back.received_at_ms, day.received_at_ms)
    for name, expected in day.values.items():
        same = back.values[name]
        assert np.array_equal(np.isnan(same), np.isnan(expected))
        kept = ~np.isnan(expected)
        assert same[kept].tobytes() == expected[kept].tobytes()


def test_a_block_of_another_format_is_refused() -> None:
    with pytest.raises(ValueError, match="format"):
        unpack(b"\xff whatever")


def test_raw_and_hours_are_forgotten_when_they_are_old(tmp_path: Path) -> None:
    store = SqliteReadings(tmp_path / "readings.sqlite", raw_days=5, hourly_days=10)
    for day in range(20):
        store.write([reading("tansy-1", START_MS + day * DAY_MS, {"bed_temp_c": 20.0 + day})])
    store.pack(START_MS + 20 * DAY_MS)
    raw = store.raw("tansy-1", START_MS, START_MS + 20 * DAY_MS)
    assert raw.taken_at_ms.tolist() == [START_MS + day * DAY_MS for day in range(15, 20)]
    hours = store.hourly("tansy-1", "bed_temp_c", START_MS, START_MS + 20 * DAY_MS)
    assert hours.count["bed_temp_c"].sum() == 10
    store.close()


def test_a_row_that_comes_while_its_day_is_packed_is_kept(store: SqliteReadings) -> None:
    for minute in range(0, 24 * 60, 10):
        store.write([reading("tansy-1", START_MS + minute * MINUTE_MS, {"bed_temp_c": 20.0})])
    steps = store.pack_steps(START_MS + 2 * DAY_MS)
    next(steps)
    store.write([reading("tansy-1", START_MS + 1, {"bed_temp_c": 25.0})])
    list(steps)
    store.pack(START_MS + 2 * DAY_MS)
    rows = rows_of(store.raw("tansy-1", START_MS, START_MS + DAY_MS))
    assert len(rows) == 145
    assert rows[START_MS + 1] == {"bed_temp_c": 25.0}


def test_a_full_disk_stores_nothing_and_says_so(store: SqliteReadings) -> None:
    store.write([reading("tansy-1", START_MS, {"bed_temp_c": 22.4})])
    pages = store._hot.connection.execute("PRAGMA page_count").fetchone()[0]
    store._hot.connection.execute(f"PRAGMA max_page_count = {pages}")
    many = [
        reading(f"new-{n}", START_MS + n, {"bed_temp_c": 1.0, f"extra_{n % 9}": 2.0})
        for n in range(5000)
    ]
    with pytest.raises(StoreFullError, match="disk is full"):
        store.write(many)
    assert len(store.probes_seen()) == 1
    store._hot.connection.execute("PRAGMA max_page_count = 1000000")
    store.write(many)
    assert len(store.probes_seen()) == 5001
    assert rows_of(store.raw("new-4999", 0, START_MS * 2)) == {
        START_MS + 4999: {"bed_temp_c": 1.0, "extra_4": 2.0}
    }


def test_channels_beyond_the_bound_are_refused_and_the_rest_stored(store: SqliteReadings) -> None:
    for first in range(0, CHANNELS_MOST, 50):
        values = {f"extra_{n}": 1.0 for n in range(first, first + 50)}
        store.write([reading("tansy-1", START_MS, values)])
    store.write([reading("tansy-1", START_MS + 1, {"extra_1": 5.0, "one_more": 6.0})])
    assert rows_of(store.raw("tansy-1", START_MS + 1, START_MS + 2)) == {
        START_MS + 1: {"extra_1": 5.0}
    }
    assert store.reject_counts() == {"bad_channel": 1}
    assert "one_more" in store.recent_rejects()[0].sentence


def test_rejected_messages_are_counted_and_the_newest_kept(store: SqliteReadings) -> None:
    message = RawMessage("underlid/v1/potting/tansy-1/json", b"{" * 5000, START_MS)
    store.write([], [Rejected(RejectReason.NOT_JSON, f"number {n}", message) for n in range(700)])
    newest = store.recent_rejects(3)
    assert [one.sentence for one in newest] == ["number 699", "number 698", "number 697"]
    assert len(newest[0].message.payload) == 2048
    assert len(store.recent_rejects(10_000)) == 500
    assert store.reject_counts() == {"not_json": 700}


def test_a_file_of_a_newer_underlid_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "readings.sqlite"
    SqliteReadings(path).close()
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(StoreVersionError, match="99"):
        SqliteReadings(path)


def test_a_backup_while_in_use_is_a_whole_store(store: SqliteReadings, tmp_path: Path) -> None:
    store.write([reading("tansy-1", START_MS, {"bed_temp_c": 22.4})])
    store.backup_to(tmp_path / "copy.sqlite")
    copy = SqliteReadings(tmp_path / "copy.sqlite")
    assert rows_of(copy.raw("tansy-1", 0, START_MS * 2)) == {START_MS: {"bed_temp_c": 22.4}}
    copy.close()
