"""CPU time of one judgement of a warm window, a 28-day replay through the judge, and the memory of a bin.

Baselines: one numpy pass over the same window; the csv module reading the same rows.
"""

from __future__ import annotations

import csv
import io
import math
import statistics
import tracemalloc
from time import process_time

import numpy as np

from underlid.binmodel.bins import Bin, ProbePlace, Setup, Shed
from underlid.binmodel.probes.hot import WINDOW_BUCKETS
from underlid.journal.entries import Entry, Feed, Portion
from underlid.judge import Judge
from underlid.readings.values import Reading
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS

START_MS = 1_790_000_000_000 // DAY_MS * DAY_MS
DAYS = 28
BINS = 200
"""Bins in the many-bins figure; judged in turn it is linear, so the 10,000 are scaled up."""

Row = tuple[int, float, float, float, float, float]


def rows(days: int = DAYS, step_min: int = 1) -> list[Row]:
    """Return time, bed, headspace, humidity, soil, shed: two feeds and a daily swing."""
    made = []
    for minute in range(0, days * 1440, step_min):
        hour = minute / 60
        swing = math.sin(2 * math.pi * hour / 24)
        fed = max(hour % 240 - 48, 0.0)
        own = 4 * fed / 20 * math.exp(1 - fed / 20)
        bed = 20 + 1.5 * swing + own
        made.append(
            (
                START_MS + minute * MINUTE_MS,
                round(bed, 2),
                round(bed - 0.4 * own, 2),
                round(90 - 3 * swing + 2 * own, 2),
                float(round(1760 + 10 * swing + hour / 10)),
                round(19 + 3 * swing, 2),
            )
        )
    return made


def setup(bins: int = 1) -> Setup:
    """Return one shed with so many bins, each with a probe, and an air probe."""
    places = {"air": ProbePlace("air", "s", None)}
    for number in range(bins):
        places[f"p{number}"] = ProbePlace(
            f"p{number}", "s", f"b{number}", soil_dry_raw=2750, soil_wet_raw=1150,
            soil_points=((0.40, 62.0), (0.62, 78.0)),
        )  # fmt: skip
    names = [f"b{number}" for number in range(bins)]
    return Setup({"s": Shed("s", air_probe="air")}, {n: Bin(n, "s") for n in names}, places)


def feeds(bin_id: str) -> list[Entry]:
    """Return the feeds of the made-up history."""
    times = [START_MS + hour * HOUR_MS for hour in range(48, DAYS * 24, 240)]
    return [
        Entry(f"{bin_id}-{at}", bin_id, at, at, Feed((Portion("melon", 1800.0),))) for at in times
    ]


def readings_of(row: Row, probe: str = "p0") -> tuple[Reading, Reading]:
    """Return one row as the readings of both probes."""
    at, bed, head, rh, soil, air = row
    values = {"bed_temp_c": bed, "headspace_temp_c": head, "headspace_rh_pct": rh, "soil_raw": soil}
    return Reading(probe, "s", at, at, values), Reading("air", "s", at, at, {"shed_temp_c": air})


def replayed(made: list[Row]) -> tuple[Judge, float, list[float]]:
    """Return the judge after *made*, the seconds it took, and those of each judgement."""
    ready = [(row[0], readings_of(row)) for row in made]
    judge = Judge(setup(), START_MS)
    judge.set_entries("b0", feeds("b0"))
    each = []
    began = process_time()
    for at_ms, pair in ready:
        judge.add_readings(pair)
        start = process_time()
        if judge.judge(at_ms):
            each.append(process_time() - start)
    return judge, process_time() - began, each


def csv_seconds(made: list[Row]) -> float:
    """Return the seconds the csv module takes to read the same history, a row a value."""
    out = io.StringIO()
    writer = csv.writer(out)
    for at_ms, *values in made:
        for channel, value in enumerate(values):
            writer.writerow((at_ms / SECOND_MS, "p0", channel, value))
    out.seek(0)
    began = process_time()
    for row in csv.reader(out):
        float(row[3])
    return process_time() - began


def numpy_seconds() -> float:
    """Return the median seconds of one mean per channel over a window of five channels."""
    window = np.random.default_rng(1).random((5, WINDOW_BUCKETS))
    times = []
    for _ in range(200):
        began = process_time()
        for channel in window:
            np.nanmean(channel)
        times.append(process_time() - began)
    return statistics.median(times)


def many_bins_seconds(bins: int) -> float:
    """Return the seconds to judge *bins* bins once, each with a warm day in memory.

    As every five minutes: one bucket has closed since the round before.
    """
    judge = Judge(setup(bins), START_MS)
    made = rows(days=1, step_min=5)
    for row in made:
        _, air = readings_of(row)
        judge.add_readings([air])
        judge.add_readings(readings_of(row, f"p{number}")[0] for number in range(bins))
    last = made[-1]
    later = (last[0] + 5 * MINUTE_MS, *last[1:])
    judge.judge(last[0])
    judge.judge(later[0])
    judge.add_readings([readings_of(later)[1]])
    judge.add_readings(readings_of(later, f"p{number}")[0] for number in range(bins))
    began = process_time()
    judged = judge.judge(last[0] + 10 * MINUTE_MS)
    assert len(judged) == bins
    return process_time() - began


def bin_bytes() -> float:
    """Return the bytes that one more bin with its own five channels takes up in the hot window.

    What is loaded and kept once for all bins has been before anything is counted.
    """
    held_bytes(1)
    few, many = 10, 50
    return (held_bytes(many) - held_bytes(few)) / (many - few)


def held_bytes(bins: int) -> int:
    """Return the bytes that a judge of so many bins holds after two days."""
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    judge = Judge(setup(bins), START_MS)
    for row in rows(days=2, step_min=5):
        for number in range(bins):
            first, air = readings_of(row, f"p{number}")
            values = first.values | {"lid_temp_c": air.values["shed_temp_c"]}
            judge.add_readings([Reading(f"p{number}", "s", row[0], row[0], values), air])
        judge.judge(row[0])
    taken = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()
    return taken


def main() -> None:
    """Print the table."""
    made = rows()
    rounds = [replayed(made) for _ in range(3)]
    whole = statistics.median(one[1] for one in rounds)
    each = sorted(rounds[1][2][WINDOW_BUCKETS:])
    numpy_s, csv_s = numpy_seconds(), csv_seconds(made)
    median, p99 = statistics.median(each), each[int(0.99 * len(each))]
    many_s = many_bins_seconds(BINS)
    print("name | value | baseline | ratio")
    print(f"one judgement, median | {median * 1e3:.3f} ms | {numpy_s * 1e3:.3f} ms numpy pass | "
          f"{median / numpy_s:.1f}")  # fmt: skip
    print(f"one judgement, p99 | {p99 * 1e3:.3f} ms | {numpy_s * 1e3:.3f} ms numpy pass | "
          f"{p99 / numpy_s:.1f}")  # fmt: skip
    print(f"28 days x 1 min x 5 channels | {whole:.2f} s | {csv_s:.2f} s csv module | "
          f"{whole / csv_s:.1f}")  # fmt: skip
    print(f"10,000 bins, one round (from {BINS}) | {many_s / BINS * 10_000:.2f} s | - | -")
    print(f"memory of one more bin, 5 channels | {bin_bytes() / 1000:.1f} kB | - | -")


if __name__ == "__main__":
    main()
