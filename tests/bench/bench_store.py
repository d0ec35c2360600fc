"""The store against plain SQLite rows: writing, bytes, a year read back, packing.

All on one machine in one run, medians with their range. Filling a judge at a start is measured by
`bench_start.py`, the way through the door by `bench_latency.py`.

    python tests/bench/bench_store.py [rounds]
"""

from __future__ import annotations

import sqlite3
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

from store_rows import (  # noqa: E402
    CHANNELS,
    INSERT,
    START_MS,
    columns_of,
    compact_bytes,
    instants,
    line,
    plain_row,
    plain_table,
    readings_of,
    small_batch,
    timed_ms,
)

from underlid.readings.values import Reading  # noqa: E402
from underlid.storage.sqlite_readings import SqliteReadings  # noqa: E402
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS  # noqa: E402

PROBES = 1000
INSTANTS = 100
YEAR_MINUTES = 365 * 24 * 60
BATCH = 5000
PACKED_PROBES = 200
STREAM_S = 5.0
STREAM_EVERY_S = 0.02
STREAM_ROWS = 20


def written(batches: list[list[Reading]]) -> float:
    """Return rows a second of the store, with a checkpoint every ten batches."""
    with tempfile.TemporaryDirectory() as folder:
        store = SqliteReadings(Path(folder) / "readings.sqlite")
        began = time.perf_counter()
        for number, batch in enumerate(batches):
            store.write(batch)
            if number % 10 == 9:
                store.checkpoint()
        took_s = time.perf_counter() - began
        store.close()
    return sum(map(len, batches)) / took_s


def inserted(batches: list[list[tuple[float, ...]]]) -> float:
    """Return rows a second of a bare insert of ready-made rows, as safe and as tidy."""
    with tempfile.TemporaryDirectory() as folder:
        connection = plain_table(Path(folder) / "plain.sqlite", "time, probe")
        began = time.perf_counter()
        for number, batch in enumerate(batches):
            connection.execute("BEGIN IMMEDIATE")
            connection.executemany(INSERT, batch)
            connection.execute("COMMIT")
            if number % 10 == 9:
                connection.execute("PRAGMA wal_checkpoint(PASSIVE)")
        took_s = time.perf_counter() - began
        connection.close()
    return sum(map(len, batches)) / took_s


def bench_writing(rounds: int) -> None:
    batches = instants(INSTANTS, PROBES)
    rows = [[plain_row(one, number) for number, one in enumerate(batch)] for batch in batches]
    ours, theirs = [], []
    for _ in range(rounds):
        ours.append(written(batches))
        theirs.append(inserted(rows))
    line("rows/s written, 1000 probes, batches of 1000 (bare insert)", ours, theirs)


def grouped(connection: sqlite3.Connection, names: tuple[str, ...]) -> Callable[[], object]:
    """Return the SQL that sums plain rows up by the hour."""
    sums = ", ".join(f"min({name}), avg({name}), max({name}), count({name})" for name in names)
    statement = f"SELECT time / {HOUR_MS}, {sums} FROM plain WHERE probe = 1 GROUP BY 1"
    return lambda: np.array(connection.execute(statement).fetchall())


def bench_year(rounds: int) -> None:
    end_ms = START_MS + YEAR_MINUTES * MINUTE_MS
    readings = readings_of("tansy-1", columns_of(YEAR_MINUTES))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store = SqliteReadings(folder / "readings.sqlite")
        plain = plain_table(folder / "plain.sqlite", "probe, time")
        plain.execute("BEGIN")
        for first in range(0, len(readings), BATCH):
            store.write(readings[first : first + BATCH])
            plain.executemany(
                INSERT, [plain_row(one, 1) for one in readings[first : first + BATCH]]
            )
            store.checkpoint()
        plain.execute("COMMIT")
        began = time.thread_time()
        store.pack(end_ms + DAY_MS)
        year_pack_us = (time.thread_time() - began) / YEAR_MINUTES * 1e6
        weights = [
            compact_bytes(folder / f"{one}.sqlite", folder) / YEAR_MINUTES
            for one in ("readings", "plain")
        ]
        line("bytes a six-channel reading, hours included (plain row)", weights[:1], weights[1:])
        line("packing a year left over, CPU µs/row", [year_pack_us])
        span = ("tansy-1", START_MS, end_ms)
        line(
            "one probe, one year, hourly, one channel, ms (GROUP BY)",
            timed_ms(lambda: store.buckets(*span, HOUR_MS, ("bed_temp_c",)), rounds),
            timed_ms(grouped(plain, ("bed_temp_c",)), rounds),
        )
        line(
            "one probe, one year, hourly, six channels, ms (GROUP BY)",
            timed_ms(lambda: store.buckets(*span, HOUR_MS), rounds),
            timed_ms(grouped(plain, CHANNELS), rounds),
        )
        everything = f"SELECT time, {', '.join(CHANNELS)} FROM plain WHERE probe = 1"
        line(
            "one probe, one year, raw into arrays, ms (SELECT)",
            timed_ms(lambda: store.raw(*span), rounds),
            timed_ms(lambda: np.array(plain.execute(everything).fetchall()), rounds),
        )
        store.close()
        plain.close()


def pack_cost(batches: list[list[Reading]], every_ms: int) -> float:
    """Return µs of CPU a row when a day is packed every *every_ms* of it."""
    with tempfile.TemporaryDirectory() as folder:
        store = SqliteReadings(Path(folder) / "readings.sqlite")
        spent_s, due_ms = 0.0, START_MS + every_ms
        for batch in [*batches, []]:
            now_ms = batch[0].taken_at_ms if batch else START_MS + 3 * DAY_MS
            if now_ms >= due_ms:
                began = time.thread_time()
                store.pack(now_ms)
                spent_s += time.thread_time() - began
                store.checkpoint()
                due_ms += every_ms
            store.write(batch)
        store.close()
    return spent_s / sum(map(len, batches)) * 1e6


def stream_p99_ms(batches: list[list[Reading]], *, packing: bool) -> float:
    """Return the p99 of a commit at 1,000 rows a second, with or without packing beside it.

    With packing only the commits that fall into its time are counted.
    """
    with tempfile.TemporaryDirectory() as folder:
        store = SqliteReadings(Path(folder) / "readings.sqlite")
        for batch in batches:
            store.write(batch)
            store.checkpoint()
        over = threading.Event()

        def tidy() -> None:
            while not over.wait(0.5):
                store.checkpoint()

        def pack_all() -> None:
            store.pack(START_MS + 2 * DAY_MS)
            packed.append(time.perf_counter())

        packed: list[float] = []
        threads = [threading.Thread(target=tidy)]
        if packing:
            threads.append(threading.Thread(target=pack_all))
        for thread in threads:
            thread.start()
        took_ms, now_ms = [], START_MS + 2 * DAY_MS
        began = time.perf_counter()
        while time.perf_counter() - began < STREAM_S and not packed:
            now_ms += 1
            rows = small_batch(STREAM_ROWS, now_ms)
            before = time.perf_counter()
            store.write(rows)
            took_ms.append((time.perf_counter() - before) * 1000)
            over.wait(max(0.0, STREAM_EVERY_S - took_ms[-1] / 1000))
        over.set()
        for thread in threads:
            thread.join()
        store.close()
    return float(np.percentile(took_ms, 99))


def bench_packing(rounds: int) -> None:
    day = instants(24 * 60, PACKED_PROBES)
    line("packing hourly as it comes, CPU µs/row", [pack_cost(day, HOUR_MS)])
    line("packing a day at once, CPU µs/row", [pack_cost(day, DAY_MS)])
    hour = instants(60, PROBES)
    for what, rows in (
        ("an hour of 1000 probes, as usual", hour),
        (f"a day of {PACKED_PROBES} probes left over", day),
    ):
        ours, theirs = [], []
        for _ in range(rounds):
            ours.append(stream_p99_ms(rows, packing=True))
            theirs.append(stream_p99_ms(rows, packing=False))
        line(f"commit p99 at 1000 rows/s while packing {what}, ms (without)", ours, theirs)


def main() -> None:
    """Print the table."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    print("name | value | baseline | ratio")
    bench_writing(rounds)
    bench_year(rounds)
    bench_packing(rounds)


if __name__ == "__main__":
    main()
