"""Readings by when they came in: hot or packed, late or not, each given once to who follows."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from storage.kept import Kept, Store
from storage.readings_places import START_MS, all_rows, timed
from underlid.readings.values import Reading
from underlid.storage import arrivals
from underlid.storage.arrivals import LOOK_BACK_MS, Arrivals
from underlid.storage.protocols import ReadingStore
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

NOW_MS = START_MS + 10 * DAY_MS


@pytest.fixture
def store(kept: Kept) -> Store:
    kept.clock.set_ms(NOW_MS)
    return kept.open()


def received(probe: str, taken_ms: int, received_ms: int, value: float = 20.0) -> Reading:
    return Reading(probe, "potting", taken_ms, received_ms, {"bed_temp_c": value})


def news(follower: Arrivals, now_ms: int) -> list[Reading]:
    return [one for chunk in follower.news(now_ms) for one in chunk]


def test_they_come_by_time_of_receipt(kept: Kept, store: Store) -> None:
    batch = [
        received("tansy-1", NOW_MS - 9 * DAY_MS, NOW_MS + 2),
        received("sorrel-1", NOW_MS - 5 * DAY_MS, NOW_MS + 1),
        received("tansy-1", NOW_MS - 8 * DAY_MS, NOW_MS + 2),
        received("sorrel-1", NOW_MS, NOW_MS),
        received("fennel-1", NOW_MS - HOUR_MS, NOW_MS - 1),
    ]
    store.write(batch)
    kept.settle(store, NOW_MS + 5)
    expected = [batch[3], batch[1], batch[0], batch[2]]
    assert store.arrived_since(NOW_MS, 100) == expected
    assert store.arrived_since(NOW_MS, 2) == expected[:2]
    assert store.arrived_since(NOW_MS, 3) == expected, "a millisecond is never cut"
    assert store.arrived_since(NOW_MS + 3, 100) == []


def test_late_rows_are_found_among_many_days(kept: Kept) -> None:
    store = kept.open()
    store.write([timed("tansy-1", START_MS + n * HOUR_MS, {"soil_raw": 1.0}) for n in range(200)])
    kept.settle(store, NOW_MS - MINUTE_MS)
    late = [received("tansy-1", START_MS + n * HOUR_MS + 5, NOW_MS + n) for n in range(200)]
    store.write(late)
    kept.settle(store, NOW_MS + 200)
    assert store.arrived_since(NOW_MS, 1000) == late
    assert store.arrived_since(NOW_MS + 20, 20) == late[20:40]


def test_a_follower_gives_each_value_once(kept: Kept, store: Store) -> None:
    def write(*readings: Reading) -> None:
        store.write(readings)
        kept.settle(store, NOW_MS)

    write(received("tansy-1", NOW_MS - 5, NOW_MS - 5))
    follower = Arrivals(store, NOW_MS)
    assert news(follower, NOW_MS) == []
    first = received("tansy-1", NOW_MS + 10, NOW_MS + 10)
    write(first)
    assert news(follower, NOW_MS + 20) == [first]
    assert news(follower, NOW_MS + 20) == []
    slow = received("sorrel-1", NOW_MS - 100, NOW_MS - 100)
    write(slow, Reading("tansy-1", "potting", NOW_MS + 10, NOW_MS + 30, {"soil_raw": 7.0}))
    found = news(follower, NOW_MS + 40)
    assert found[0] == slow
    assert [one.values for one in found[1:]] == [{"soil_raw": 7.0}]
    write(received("tansy-1", NOW_MS + 10, NOW_MS + 50, 21.0))
    assert [one.values for one in news(follower, NOW_MS + 60)] == [{"bed_temp_c": 21.0}]


def test_a_reading_dated_ahead_hides_no_other(kept: Kept, store: Store) -> None:
    follower = Arrivals(store, NOW_MS)
    store.write([received("tansy-1", NOW_MS, NOW_MS + 9 * MINUTE_MS)])
    kept.settle(store, kept.clock.now_ms())
    assert len(news(follower, NOW_MS)) == 1
    store.write([received("sorrel-1", NOW_MS + 1, NOW_MS + 1)])
    kept.settle(store, kept.clock.now_ms())
    assert [one.probe for one in news(follower, NOW_MS + 2)] == ["sorrel-1"]


def test_a_follower_remembers_no_more_than_it_needs(
    kept: Kept, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(arrivals, "REMEMBERED_MOST", 25)
    monkeypatch.setattr(arrivals, "CHUNK", 7)
    follower = Arrivals(store, NOW_MS)
    for minute in range(5):
        now_ms = NOW_MS + 2 * minute * LOOK_BACK_MS
        kept.clock.set_ms(now_ms)
        store.write([received("tansy-1", now_ms + n, now_ms + n) for n in range(15)])
        kept.settle(store, kept.clock.now_ms())
        assert len(news(follower, now_ms + 20)) == 15
        assert not follower.overrun
    store.write([received("sorrel-1", now_ms + n, now_ms + n) for n in range(15)])
    kept.settle(store, kept.clock.now_ms())
    news(follower, now_ms + 20)
    assert follower.overrun


def test_a_file_of_the_first_layout_is_brought_up_to_date(tmp_path: Path) -> None:
    path = tmp_path / "readings.sqlite"
    store = SqliteReadings(path)
    store.write([timed("tansy-1", START_MS, {"bed_temp_c": 20.0})])
    store.pack(NOW_MS)
    store.close()
    with sqlite3.connect(path) as connection:
        connection.executescript(
            "DROP INDEX packed_arrival; ALTER TABLE packed_day DROP COLUMN last_received_ms;"
            "PRAGMA user_version = 1"
        )
    connection.close()
    again: ReadingStore = SqliteReadings(path)
    again.write([received("tansy-1", START_MS + 1, NOW_MS)])
    again.pack(NOW_MS + DAY_MS)
    assert [one.taken_at_ms for one in again.arrived_since(NOW_MS, 10)] == [START_MS + 1]
    again.close()
    back = SqliteReadings(path)
    assert len(all_rows(back, "tansy-1")) == 2
    back.close()
