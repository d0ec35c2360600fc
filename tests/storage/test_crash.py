"""The store is killed again and again: what was answered is there exactly once, packed or not."""

from __future__ import annotations

import random
import sqlite3
from pathlib import Path

import pytest

from storage.crash_writer import BATCH_MINUTES, PROBES, START_MS, value_at
from storage.killed import write_until_killed
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

WRITER = Path(__file__).parent / "crash_writer.py"
KILLS = 8


def check_whole(path: Path, answered: int) -> None:
    """Compare the store with all that was answered, and at most the one batch after it."""
    with sqlite3.connect(path) as bare:
        assert bare.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    bare.close()
    store = SqliteReadings(path)
    far_ms = START_MS + 10_000 * DAY_MS
    counts = set()
    for probe in PROBES:
        series = store.raw(probe, START_MS, far_ms)
        minutes = ((series.taken_at_ms - START_MS) // MINUTE_MS).tolist()
        counts.add(len(minutes))
        assert minutes == list(range(len(minutes)))
        assert series.values["bed_temp_c"].tolist() == [value_at(probe, one) for one in minutes]
        hours = store.buckets(probe, START_MS, START_MS + len(minutes) * MINUTE_MS, HOUR_MS)
        assert int(hours.count["bed_temp_c"].sum()) == len(minutes)
    store.close()
    assert counts <= {(answered + more) * BATCH_MINUTES for more in (1, 2)}
    assert len(counts) == 1


@pytest.mark.parametrize("way", ["plain", "packing"])
def test_every_answered_reading_is_there_once_after_kills(tmp_path: Path, way: str) -> None:
    chance = random.Random(f"kill {way}")
    path = tmp_path / "readings.sqlite"
    answered = -1
    for _ in range(KILLS):
        answered = write_until_killed(WRITER, path, answered + 1, way, chance=chance)
        check_whole(path, answered)
    with sqlite3.connect(path) as bare:
        packed = bare.execute("SELECT count(*) FROM packed_day").fetchone()[0]
    bare.close()
    assert bool(packed) is (way == "packing")
