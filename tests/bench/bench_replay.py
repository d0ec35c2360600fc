"""A replay of 28 days × 1 minute × 5 channels of one bin, beside reading the CSV alone."""

from __future__ import annotations

import csv
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from underlid.files.readings_csv import read_readings, write_readings
from underlid.files.verdicts import encoded, lines_of
from underlid.readings.values import Reading
from underlid.replay import replay
from underlid.simulate import scenario
from underlid.timeline import DAY_MS, MINUTE_MS

OPENING_MS = 1_790_000_000_000 // DAY_MS * DAY_MS
ROUNDS = 3
CHANNELS = ("bed_temp_c", "headspace_temp_c", "headspace_rh_pct", "soil_raw")
AIR = ("shed_temp_c",)


def timed(work: Callable[[], object]) -> float:
    """Return the seconds that *work* takes."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def narrowed(reading: Reading) -> Reading:
    """Return a reading with the five channels that are judged."""
    values = {name: reading.values[name] for name in (*CHANNELS, *AIR) if name in reading.values}
    return Reading(reading.probe, reading.shed, reading.taken_at_ms, reading.received_at_ms, values)


def main() -> None:
    """Print the table."""
    place = scenario.place(OPENING_MS, 21, every_ms=MINUTE_MS, bins=("tansy",))
    began = time.perf_counter()
    stretch = place.run(OPENING_MS + 7 * DAY_MS)
    simulated_s = time.perf_counter() - began
    readings = [narrowed(one) for one in stretch.readings]
    sheds = {one.probe: one.shed for one in place.setup.probes.values()}
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "readings.csv"
        with file.open("w", encoding="utf-8", newline="") as out:
            rows = write_readings(out, readings)

        def csv_alone() -> None:
            with file.open(encoding="utf-8", newline="") as lines:
                for _ in csv.reader(lines):
                    pass

        def whole() -> None:
            found = read_readings(file, sheds).readings
            for judgement in replay(place.setup, found, stretch.entries):
                encoded(lines_of(judgement))

        rounds = [
            (timed(csv_alone), timed(lambda: read_readings(file, sheds)), timed(whole))
            for _ in range(ROUNDS)
        ]
    alone, read, judged = (statistics.median(column) for column in zip(*rounds, strict=True))
    print("name | value | baseline (csv module) | ratio")
    print(f"read readings.csv, {rows} rows | {read:.2f} s | {alone:.2f} s | {read / alone:.1f}")
    print(f"replay, 28 d of one bin | {judged:.2f} s | {alone:.2f} s | {judged / alone:.1f}")
    print(f"simulate, 28 d of one bin | {simulated_s:.2f} s | – | –")


if __name__ == "__main__":
    main()
