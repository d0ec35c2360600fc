"""A process that writes readings without end: run and killed by `test_crash.py`.

    python crash_writer.py FILE FIRST_BATCH (plain | packing)

Prints the number of a batch when it is answered, that is: after `write` has returned.
"""

from __future__ import annotations

import itertools
import sys
import threading
from pathlib import Path

from underlid.readings.values import Reading
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

START_MS = 20_000 * DAY_MS
PROBES = ("tansy-1", "sorrel-1", "fennel-1")
BATCH_MINUTES = 10
RESEND_EVERY = 5
RESEND_BACK = 40
"""Every fifth batch is accompanied by one of nearly seven hours ago: packed by then."""


def value_at(probe: str, minute: int) -> float:
    """Return what the probe measures at that minute."""
    return (len(probe) * 100 + minute % 977) / 10


def batch_of(number: int) -> list[Reading]:
    """Return the readings of one batch; the same ones whenever it is asked for."""
    first = number * BATCH_MINUTES
    return [
        Reading(
            probe,
            "potting",
            START_MS + minute * MINUTE_MS,
            START_MS + minute * MINUTE_MS + 400,
            {"bed_temp_c": value_at(probe, minute), "soil_raw": float(minute % 4096)},
        )
        for minute in range(first, first + BATCH_MINUTES)
        for probe in PROBES
    ]


def main() -> None:
    path, first, way = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3]
    store = SqliteReadings(path)
    newest_ms = [START_MS]

    def pack_for_ever() -> None:
        while True:
            store.pack(newest_ms[0] + 2 * HOUR_MS)
            store.checkpoint()

    if way == "packing":
        threading.Thread(target=pack_for_ever, daemon=True).start()
    for number in itertools.count(first):
        rows = batch_of(number)
        if number % RESEND_EVERY == 0 and number >= RESEND_BACK:
            rows = batch_of(number - RESEND_BACK) + rows
        store.write(rows)
        newest_ms[0] = rows[-1].taken_at_ms
        print(number, flush=True)


if __name__ == "__main__":
    main()
