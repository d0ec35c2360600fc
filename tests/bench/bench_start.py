"""How long a start takes: a judge filled from 1,000 probes' last 14 days.

One probe's days are written and packed the usual way; the other probes get copies of its blocks,
and their own hot rows of the last hours, so that making the history does not take longer than what
is measured. The page cache is warm.

    python tests/bench/bench_start.py [probes] [rounds]
"""

from __future__ import annotations

import sqlite3
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path

import psutil

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

from store_rows import START_MS, columns_of, line, readings_of  # noqa: E402

from underlid.binmodel.bins import Bin, ProbePlace, Setup, Shed  # noqa: E402
from underlid.clock import VirtualClock  # noqa: E402
from underlid.storage.packing import GRACE_MS  # noqa: E402
from underlid.storage.records import Records  # noqa: E402
from underlid.storage.sqlite_readings import SqliteReadings  # noqa: E402
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS  # noqa: E402
from underlid.watch import Watch  # noqa: E402

DAYS = 14
NOW_MS = START_MS + DAYS * DAY_MS
FIRST_HOT_MS = (NOW_MS - GRACE_MS) // HOUR_MS * HOUR_MS


def make_history(path: Path, probes: int, step_ms: int) -> int:
    """Write a store with *probes* histories; return the rows it holds."""
    everything = readings_of(
        "bin0-1", columns_of(DAYS * DAY_MS // step_ms), START_MS, step_ms=step_ms
    )
    old = [one for one in everything if one.taken_at_ms < FIRST_HOT_MS]
    hot = [one for one in everything if one.taken_at_ms >= FIRST_HOT_MS]
    store = SqliteReadings(path)
    for first in range(0, len(old), 1000):
        store.write(old[first : first + 1000])
    store.pack(NOW_MS)
    for one in hot:
        batch = [
            type(one)(f"bin{n}-1", "potting", one.taken_at_ms, one.received_at_ms, one.values)
            for n in range(probes)
        ]
        store.write(batch)
    store.close()
    with sqlite3.connect(path) as connection:
        for table in ("packed_day", "hourly"):
            names = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
            asked = ", ".join("other.id" if name == "probe" else name for name in names)
            connection.execute(
                f"INSERT INTO {table} SELECT {asked} FROM {table}"
                " JOIN probe AS mine ON mine.id = probe AND mine.name = 'bin0-1'"
                " JOIN probe AS other ON other.id <> mine.id"
            )
    connection.close()
    return len(everything) * probes


def make_places(folder: Path, probes: int) -> Records:
    """Return records with a bin for each probe."""
    records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
    bins = {f"bin{n}": Bin(f"bin{n}", "potting", f"Bin {n}") for n in range(probes)}
    places = {f"{one}-1": ProbePlace(f"{one}-1", "potting", one) for one in bins}
    records.save_setup(Setup({"potting": Shed("potting")}, bins, places))
    return records


def started(records: Records, path: Path) -> tuple[float, float, float, float]:
    """Return the seconds of opening the store, `Watch.start`, its processor time, the first tick."""
    marks = [time.perf_counter()]
    store = SqliteReadings(path)
    marks.append(time.perf_counter())
    watch = Watch(records, store, VirtualClock(NOW_MS), tick_s=60.0)
    before_s = time.process_time()
    watch.start()
    cpu_s = time.process_time() - before_s
    marks.append(time.perf_counter())
    watch.tick()
    marks.append(time.perf_counter())
    store.close()
    open_s, start_s, tick_s = (later - before for before, later in pairwise(marks))
    return open_s, start_s, cpu_s, tick_s


def main() -> None:
    """Print the table."""
    probes = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    print("name | value | baseline | ratio")
    for minutes in (5, 1):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            path = folder / "readings.sqlite"
            rows = make_history(path, probes, minutes * MINUTE_MS)
            records = make_places(folder, probes)
            found = [started(records, path) for _ in range(rounds)]
            what = f"{probes} probes, {DAYS} days, every {minutes} min"
            line(f"{what}: open the store, s", [one[0] for one in found])
            line(f"{what}: Watch.start, s", [one[1] for one in found])
            line(f"{what}: Watch.start, CPU s", [one[2] for one in found])
            line(f"{what}: first tick, s", [one[3] for one in found])
            line(f"{what}: file, MB", [path.stat().st_size / 1e6])
            line(f"{what}: million rows", [rows / 1e6])
            records.close()
    line("memory of this process, MB", [psutil.Process().memory_info().rss / 1e6])


if __name__ == "__main__":
    main()
