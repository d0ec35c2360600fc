"""The store on InfluxDB: sending against prebuilt lines, a year read back against SQLite, bytes.

Debian's InfluxDB 1.6.7 on this machine, behind the tests' front, which both sides of a comparison
pass; all in one run, medians with their range.

    python tests/bench/bench_influx.py [rounds]
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from store_rows import (  # noqa: E402
    START_MS,
    columns_of,
    compact_bytes,
    instants,
    line,
    readings_of,
    small_batch,
    timed_ms,
)

from storage.influxd import PASSWORD, USER, Influxd  # noqa: E402
from underlid.clock import VirtualClock  # noqa: E402
from underlid.readings.values import Reading  # noqa: E402
from underlid.storage.influx.drain import BATCH_ROWS  # noqa: E402
from underlid.storage.influx.lines import OutRow, reading_line  # noqa: E402
from underlid.storage.influx.readings import InfluxReadings  # noqa: E402
from underlid.storage.influx.server import InfluxPlace, InfluxServer  # noqa: E402
from underlid.storage.influx.target import InfluxTarget  # noqa: E402
from underlid.storage.moving import months_of, move  # noqa: E402
from underlid.storage.sqlite_readings import SqliteReadings  # noqa: E402
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS  # noqa: E402

PROBES = 1000
INSTANTS = 50
YEAR_MINUTES = 365 * 24 * 60
STREAM_ROWS = 20
STREAM_EVERY_S = 0.02
STREAM_S = 8.0


FRONT = f"""
import sys, threading
sys.path[:0] = {[str(HERE.parent), str(HERE.parents[1] / "service")]!r}
from storage.influx_front import Front
print(Front(sys.argv[1]).url, flush=True)
threading.Event().wait()
"""


class Place:
    """A server with a front, and a database for each measurement."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.influxd = Influxd(folder / "influxd")
        self._front = subprocess.Popen(
            [sys.executable, "-c", FRONT, self.influxd.url], stdout=subprocess.PIPE, text=True
        )
        assert self._front.stdout is not None
        self.url = self._front.stdout.readline().strip()
        self.made = 0

    def database(self) -> InfluxPlace:
        self.made += 1
        name = f"bench{self.made}"
        self.influxd.ask(f"CREATE DATABASE {name}")
        return InfluxPlace(self.url, f"{USER}:{PASSWORD}", "", f"{name}/autogen")

    def store(self, clock: VirtualClock) -> InfluxReadings:
        where = self.database()
        return InfluxReadings(self.folder / f"buffer{self.made}.sqlite", where, clock)

    def stop(self) -> None:
        self._front.terminate()
        self._front.wait()
        self.influxd.stop()


def prebuilt_per_s(place: Place, batches: list[list[Reading]]) -> float:
    """Return rows a second of ready-made lines through the same client, nothing else done."""
    rows = [
        OutRow(one.probe, one.shed, one.taken_at_ms, one.received_at_ms, 0, one.values)
        for batch in batches
        for one in batch
    ]
    bodies = [
        "\n".join(map(reading_line, rows[first : first + BATCH_ROWS]))
        for first in range(0, len(rows), BATCH_ROWS)
    ]
    server = InfluxServer(place.database())
    began = time.perf_counter()
    for body in bodies:
        server.write(body)
    took_s = time.perf_counter() - began
    server.close()
    return len(rows) / took_s


def drained_per_s(place: Place, batches: list[list[Reading]]) -> tuple[float, float]:
    """Return rows a second out of the buffer, and µs of processor time a row of this thread.

    Read, put into lines, sent (by another thread), taken out on disk.
    """
    store = place.store(VirtualClock(START_MS))
    for batch in batches:
        store.write(batch)
    store.checkpoint()
    began, spent_s = time.perf_counter(), time.thread_time()
    store.drain.empty()
    took_s, spent_s = time.perf_counter() - began, time.thread_time() - spent_s
    store.close()
    count = sum(map(len, batches))
    return count / took_s, spent_s / count * 1e6


def bench_sending(place: Place, rounds: int) -> None:
    batches = instants(INSTANTS, PROBES, step_ms=1000)
    ours, spent_us, theirs = [], [], []
    for _ in range(rounds):
        per_s, us = drained_per_s(place, batches)
        ours.append(per_s)
        spent_us.append(us)
        theirs.append(prebuilt_per_s(place, batches))
    line("six-channel rows/s drained (prebuilt lines)", ours, theirs)
    line("CPU µs a row, without sending", spent_us)
    line("points/s drained, 8 fields a row (prebuilt lines)", [8 * one for one in ours],
         [8 * one for one in theirs])  # fmt: skip


def commit_p99_ms(store: InfluxReadings | SqliteReadings) -> float:
    """Return the p99 of a commit at 1,000 rows a second."""
    took_ms = []
    now_ms = START_MS
    began = time.perf_counter()
    over = threading.Event()
    while time.perf_counter() - began < STREAM_S:
        now_ms += 20
        rows = small_batch(STREAM_ROWS, now_ms)
        before = time.perf_counter()
        store.write(rows)
        took_ms.append((time.perf_counter() - before) * 1000)
        if len(took_ms) % 25 == 0:
            store.checkpoint()
        over.wait(max(0.0, STREAM_EVERY_S - took_ms[-1] / 1000))
    return sorted(took_ms)[len(took_ms) * 99 // 100]


def bench_beside(place: Place, rounds: int) -> None:
    """Show that sending on holds no commit up: drained beside, with SQLite alone for comparison."""
    ours, theirs = [], []
    for number in range(rounds):
        store = place.store(VirtualClock(START_MS))
        store.start()
        ours.append(commit_p99_ms(store))
        store.close()
        plain = SqliteReadings(place.folder / f"plain{number}.sqlite")
        theirs.append(commit_p99_ms(plain))
        plain.close()
    line("commit p99 at 1000 rows/s, sent on beside, ms (SQLite alone)", ours, theirs)


def bench_filling(place: Place) -> None:
    """Show what a judge asks for at its start: five-minute steps of two weeks."""
    end_ms = START_MS + 14 * DAY_MS
    clock = VirtualClock(START_MS)
    store = place.store(clock)
    probes = [f"bin{number}-1" for number in range(5)]
    for number, probe in enumerate(probes):
        readings = readings_of(probe, columns_of(14 * 24 * 60, seed=number))
        for first in range(0, len(readings), 5000):
            store.write(readings[first : first + 5000])
        store.checkpoint()
        store.drain.empty()
    clock.set_ms(end_ms)
    filled = timed_ms(
        lambda: list(store.buckets_of_all(probes, START_MS, end_ms, 5 * MINUTE_MS)), 2
    )
    line("two weeks of a probe for a judge, ms", [one / len(probes) for one in filled])
    store.close()


def bench_year(place: Place, rounds: int) -> None:
    end_ms = START_MS + YEAR_MINUTES * MINUTE_MS
    span = ("tansy-1", START_MS, end_ms)
    readings = readings_of("tansy-1", columns_of(YEAR_MINUTES))
    sqlite = SqliteReadings(place.folder / "year.sqlite", 10_000)
    for first in range(0, len(readings), 5000):
        sqlite.write(readings[first : first + 5000])
        sqlite.checkpoint()
    sqlite.pack(end_ms + DAY_MS)
    where = place.database()
    server = InfluxServer(where)
    target = InfluxTarget(server)
    (seen,) = sqlite.probes_seen()
    began = time.perf_counter()
    for month in months_of(seen):
        move(sqlite, target, month)
    moved_s = time.perf_counter() - began
    line("year moved to InfluxDB and compared, rows/s", [len(readings) / moved_s])
    influx = InfluxReadings(place.folder / "year-buffer.sqlite", where, VirtualClock(end_ms))
    for name, channels in (("one channel", ("bed_temp_c",)), ("six channels", None)):
        line(
            f"one probe, one year, hourly, {name}, ms (SQLite)",
            timed_ms(lambda channels=channels: influx.buckets(*span, HOUR_MS, channels), rounds),
            timed_ms(lambda channels=channels: sqlite.buckets(*span, HOUR_MS, channels), rounds),
        )
    line(
        "the same six channels summed up from rows, ms",
        timed_ms(lambda: influx.buckets(*span, HOUR_MS // 2), 1),
    )
    line(
        "one probe, one year, every raw reading, ms (SQLite)",
        timed_ms(lambda: influx.raw(*span), 1),
        timed_ms(lambda: sqlite.raw(*span), rounds),
    )
    weigh(place, sqlite)
    influx.close()
    server.close()
    sqlite.close()


def weigh(place: Place, sqlite: SqliteReadings) -> None:
    """Print the bytes of a six-channel reading in files that the server has compacted."""
    place.influxd.stop()
    place.influxd.configure(cold="1s")
    place.influxd.start()
    folder = place.folder / "influxd" / "data" / f"bench{place.made}"
    until = time.monotonic() + 60
    size, before = tsm_bytes(folder), -1
    while (size != before or not size) and time.monotonic() < until:
        time.sleep(5)
        size, before = tsm_bytes(folder), size
    ours = size / YEAR_MINUTES
    theirs = compact_bytes(sqlite.path, place.folder) / YEAR_MINUTES
    line("bytes a six-channel reading, hourly sums included (SQLite)", [ours], [theirs])


def tsm_bytes(folder: Path) -> int:
    """Return the bytes of the data files; the list of series has a fixed size and is left out."""
    return sum(one.stat().st_size for one in folder.rglob("*.tsm"))


def main() -> None:
    """Print the table."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    print("name | value | baseline | ratio")
    with tempfile.TemporaryDirectory() as folder:
        place = Place(Path(folder))
        try:
            bench_sending(place, rounds)
            bench_beside(place, rounds)
            bench_filling(place)
            bench_year(place, rounds)
        finally:
            place.stop()


if __name__ == "__main__":
    main()
