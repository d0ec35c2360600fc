"""A process that takes readings in and sends them on: run by the outage test, killed by it.

    python killed_sender.py FILE URL TOKEN BUCKET FIRST

Batch after batch from number FIRST on; prints a batch's number once it is committed.
"""

from __future__ import annotations

import sys
from pathlib import Path

from underlid.clock import VirtualClock
from underlid.readings.values import Reading
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.influx.server import InfluxPlace
from underlid.timeline import DAY_MS

START_MS = 20_000 * DAY_MS
PROBES = 20


def main() -> None:
    path, url, token, bucket, first = sys.argv[1:]
    place = InfluxPlace(url, token, "", bucket)
    store = InfluxReadings(Path(path), place, VirtualClock(START_MS))
    store.start()
    print("up", flush=True)
    for number in range(int(first), 10**9):
        at_ms = START_MS + number * 1000
        store.write(
            [
                Reading(f"tansy-{n}", "potting", at_ms, at_ms, {"bed_temp_c": float(number)})
                for n in range(PROBES)
            ]
        )
        store.checkpoint()
        print(number, flush=True)


if __name__ == "__main__":
    main()
