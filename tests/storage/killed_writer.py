"""A process that writes batches to a store and packs them: run by the crash test, killed by it.

    python killed_writer.py FILE FIRST

Batch after batch from number FIRST on; prints a batch's number once it is committed. Each run first
sends the batch before FIRST again, as a probe does whose acknowledgement was lost.
"""

from __future__ import annotations

import sys
import threading
from pathlib import Path

from underlid.readings.values import Reading, TimeSource
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, MINUTE_MS

START_MS = 20_000 * DAY_MS
BATCH_MS = 20 * MINUTE_MS
"""Batches are far apart, so that days close while the test runs."""

PROBES = 5


def batch(number: int, run: int) -> list[Reading]:
    """Return five rows with a time of their own, and one without, received anew in each run."""
    at_ms = START_MS + number * BATCH_MS
    timed = [
        Reading(f"tansy-{n}", "potting", at_ms + n, at_ms + 50, {"bed_temp_c": number / 10 + n})
        for n in range(PROBES)
    ]
    received_ms = at_ms + 100 + run
    untimed = Reading(
        "sorrel-1",
        "potting",
        received_ms,
        received_ms,
        {"soil_raw": float(number)},
        TimeSource.RECEIPT,
        number,
    )
    return [*timed, untimed]


def pack_for_ever(store: SqliteReadings, written: list[int]) -> None:
    while True:
        store.pack(START_MS + written[-1] * BATCH_MS)
        store.checkpoint()


def main() -> None:
    path, first = Path(sys.argv[1]), int(sys.argv[2])
    store = SqliteReadings(path)
    written = [first]
    threading.Thread(target=pack_for_ever, args=(store, written), daemon=True).start()
    for number in range(max(first - 1, 0), 10**9):
        store.write(batch(number, run=first))
        written.append(number)
        print(number, flush=True)


if __name__ == "__main__":
    main()
