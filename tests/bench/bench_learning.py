"""What it costs to learn from a bin, once a day: all lessons of twelve days, feeds and looks in them.

Baseline: one numpy pass over the same window.
"""

from __future__ import annotations

import statistics
from dataclasses import replace
from time import perf_counter

from bench_judge import START_MS, feeds, numpy_seconds, readings_of, rows, setup

from underlid.binmodel.taught.learning import learn
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry, LidLook, Sighting
from underlid.judge import Judge
from underlid.timeline import HOUR_MS

DAYS = 14
ROUNDS = 50


def warm_window() -> BinWindow:
    """Return a bin's window of fourteen days with feeds and a look a day."""
    made = rows(days=DAYS, step_min=5)
    judge = Judge(setup(), START_MS)
    looks = [
        Entry(f"look-{day}", "b0", at_ms, at_ms, Sighting(lid=LidLook.MIST, used_up=day % 3 == 0))
        for day in range(1, DAYS)
        for at_ms in (START_MS + (24 * day + 9) * HOUR_MS,)
    ]
    judge.set_entries("b0", sorted([*feeds("b0"), *looks], key=lambda one: one.at_ms))
    for row in made:
        judge.add_readings(readings_of(row))
    judge.judge(made[-1][0])
    return replace(judge._window("b0", made[-1][0]), lessons=None)


def main() -> None:
    """Print the table."""
    window, times = warm_window(), []
    for _ in range(ROUNDS):
        began = perf_counter()
        learn(window)
        times.append(perf_counter() - began)
    median, numpy_s = statistics.median(times), numpy_seconds()
    print("name | value | baseline | ratio")
    print(f"all lessons of a bin, median | {median * 1e3:.2f} ms | {numpy_s * 1e3:.3f} ms numpy pass"
          f" | {median / numpy_s:.1f}")  # fmt: skip


if __name__ == "__main__":
    main()
