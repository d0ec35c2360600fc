"""The store is killed again and again: what was answered is there exactly once, packed or not."""

from __future__ import annotations

import random
import signal
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from storage.crash_writer import BATCH_MINUTES, PROBES, START_MS, value_at
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

WRITER = Path(__file__).parent / "crash_writer.py"
KILLS = 8
MOST_S = 0.5


def write_until_killed(path: Path, first: int, way: str, after_s: float) -> int:
    """Run the writer, kill it *after_s* after its first answer; return its last answer."""
    process = subprocess.Popen(
        [sys.executable, str(WRITER), str(path), str(first), way], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    answers = [process.stdout.readline()]
    assert answers[0], "the writer did not start"
    killer = threading.Timer(after_s, process.send_signal, [signal.SIGKILL])
    killer.start()
    answers += process.stdout.readlines()
    killer.join()
    assert process.wait() == -signal.SIGKILL
    process.stdout.close()
    return int([one for one in answers if one.endswith("\n")][-1])


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
        answered = write_until_killed(path, answered + 1, way, chance.uniform(0.0, MOST_S))
        check_whole(path, answered)
    with sqlite3.connect(path) as bare:
        packed = bare.execute("SELECT count(*) FROM packed_day").fetchone()[0]
    bare.close()
    assert bool(packed) is (way == "packing")
