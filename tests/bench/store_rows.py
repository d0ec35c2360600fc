"""Readings as a probe sends them, and the lines of a table: shared by the benchmarks of the store."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from statistics import median

import numpy as np

from underlid.readings.values import Reading
from underlid.timeline import DAY_MS, MINUTE_MS

START_MS = 20_000 * DAY_MS
CHANNELS = (
    "bed_temp_c",
    "headspace_temp_c",
    "headspace_rh_pct",
    "soil_raw",
    "battery_v",
    "rssi_dbm",
)
COLUMNS = ", ".join(f"{name} REAL" for name in CHANNELS)
INSERT = f"INSERT INTO plain VALUES ({', '.join('?' * (2 + len(CHANNELS)))})"


def columns_of(minutes: int, seed: int = 1) -> dict[str, list[float]]:
    """Return so many minutes of six channels, at the resolution and noise of common sensors."""
    chance = np.random.default_rng(seed)
    day = 2 * np.pi * np.arange(minutes) / (24 * 60)
    slow = np.cumsum(chance.normal(0, 0.01, minutes))
    slow -= slow.mean()
    bed = 21 + 2 * np.sin(day / 20) + 0.2 * slow
    head = 19 + 4 * np.sin(day) + 0.2 * slow + chance.normal(0, 0.02, minutes)
    damp = 88 - 6 * np.sin(day) + chance.normal(0, 0.08, minutes)
    return {
        "bed_temp_c": (np.round(bed * 16) / 16).tolist(),
        "headspace_temp_c": np.round(head, 2).tolist(),
        "headspace_rh_pct": np.round(np.clip(damp, 0, 100), 1).tolist(),
        "soil_raw": np.round(2100 + 30 * slow + chance.normal(0, 3, minutes)).tolist(),
        "battery_v": np.round(4.1 - 0.2 * np.arange(minutes) / minutes, 2).tolist(),
        "rssi_dbm": np.round(chance.normal(-67, 2, minutes)).tolist(),
    }


def readings_of(
    probe: str, columns: dict[str, list[float]], start_ms: int = START_MS, step_ms: int = MINUTE_MS
) -> list[Reading]:
    """Return the columns as readings of one probe, received 300 ms to 1.3 s after they were taken."""
    made = []
    for place, row in enumerate(zip(*columns.values(), strict=True)):
        at_ms = start_ms + place * step_ms
        delay_ms = 300 + place * 7919 % 1000
        values = dict(zip(columns, row, strict=True))
        made.append(Reading(probe, "potting", at_ms, at_ms + delay_ms, values))
    return made


def instants(count: int, probes: int, step_ms: int = MINUTE_MS) -> list[list[Reading]]:
    """Return *count* batches as they come, each with one reading of every probe."""
    streams = [
        readings_of(f"bin{number}-1", columns_of(count, seed=number), step_ms=step_ms)
        for number in range(probes)
    ]
    return [list(batch) for batch in zip(*streams, strict=True)]


def small_batch(count: int, now_ms: int) -> list[Reading]:
    """Return one reading of each of *count* probes, one channel each."""
    return [
        Reading(f"bin{number}-1", "potting", now_ms, now_ms, {"bed_temp_c": 20.5})
        for number in range(count)
    ]


def timed_ms(what: Callable[[], object], rounds: int) -> list[float]:
    """Return the milliseconds of each of several calls, after one that is not counted."""
    found = []
    for _ in range(rounds + 1):
        began = time.perf_counter()
        what()
        found.append((time.perf_counter() - began) * 1000)
    return found[1:]


def plain_row(one: Reading, probe: int) -> tuple[float, ...]:
    """Return a reading as a row of the plain table."""
    return (one.taken_at_ms, probe, *one.values.values())


def plain_table(path: Path, key: str) -> sqlite3.Connection:
    """Make the baseline: one wide table, as safe as the store (WAL, FULL)."""
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "wal_autocheckpoint = 0"):
        connection.execute(f"PRAGMA {pragma}")
    connection.execute(
        f"CREATE TABLE plain (time INTEGER, probe INTEGER, {COLUMNS}, PRIMARY KEY ({key}))"
        " WITHOUT ROWID"
    )
    return connection


def compact_bytes(path: Path, folder: Path) -> int:
    """Return the bytes of a copy of the database without free pages."""
    copy = folder / "compact.sqlite"
    connection = sqlite3.connect(path)
    connection.execute("VACUUM INTO ?", (str(copy),))
    connection.close()
    size = copy.stat().st_size
    copy.unlink()
    return size


def spread(values: Sequence[float]) -> str:
    """Return median and range."""
    digits = 2 if max(values) < 10 else 1 if max(values) < 1000 else 0
    low, middle, high = min(values), median(values), max(values)
    if low == high:
        return f"{middle:,.{digits}f}"
    return f"{middle:,.{digits}f} [{low:,.{digits}f}–{high:,.{digits}f}]"


def line(name: str, ours: Sequence[float], theirs: Sequence[float] = ()) -> None:
    """Print one line of the table."""
    if theirs:
        print(f"{name} | {spread(ours)} | {spread(theirs)} | {median(ours) / median(theirs):.2f}")
    else:
        print(f"{name} | {spread(ours)} | – | –")
