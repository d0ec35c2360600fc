"""What arrived since: of all probes, of all workers, as far as the server has it.

InfluxDB finds points by the time they were taken, not by when they came. Nearly all come at once: so
the last minutes of all probes are read and sorted by their arrival. The few that came later have a
point in `late`, keyed by arrival, that names the hour to look into.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from underlid.readings.admission import AHEAD_MOST_MS
from underlid.readings.values import Reading, TimeSource
from underlid.storage.arrival_rows import oldest
from underlid.storage.influx.lines import NS_A_MS
from underlid.storage.influx.names import RECEIVED, SENT
from underlid.storage.influx.outgoing import LIVE_MS, arrived_ms, held_of, selected
from underlid.storage.influx.selecting import between, of_probes
from underlid.storage.influx.server import InfluxServer
from underlid.timeline import DAY_MS, HOUR_MS, SECOND_MS

WINDOW_MS: Final = 10 * SECOND_MS
"""Arrivals are looked for in stretches, because after an outage a whole hour arrives in seconds."""

WINDOW_MOST_MS: Final = DAY_MS
"""Quiet stretches are passed over in steps that grow up to this."""

Key = tuple[str, int]


def arrived_since(server: InfluxServer, since_ms: int, most: int, now_ms: int) -> list[Reading]:
    """Return what arrived at or after *since_ms* (see `ReadingStore.arrived_since`)."""
    found: dict[Key, Reading] = {}
    begin_ms, window_ms = since_ms, WINDOW_MS
    while len(found) < most:
        end_ms = begin_ms + window_ms
        last = end_ms > now_ms
        before = len(found)
        for one in _arrived(server, begin_ms, None if last else end_ms):
            found[one.probe, one.taken_at_ms] = one
        if last:
            break
        begin_ms = end_ms
        if len(found) - before < most // 8:
            window_ms = min(4 * window_ms, WINDOW_MOST_MS)
    return oldest(found.values(), most)


def _arrived(server: InfluxServer, begin_ms: int, end_ms: int | None) -> Iterator[Reading]:
    """Yield what arrived in [begin_ms, end_ms), or since; a row may come twice."""
    since = f'("{RECEIVED}" >= {begin_ms} OR "{SENT}" >= {begin_ms})'
    until_ms = _far(begin_ms) if end_ms is None else end_ms
    live_from_ms = begin_ms - LIVE_MS
    statements = [
        f"SELECT * FROM reading WHERE {since} AND {between(live_from_ms, until_ms + AHEAD_MOST_MS)}"
        ' GROUP BY "probe"'
    ]
    for hour, probes in sorted(_late_hours(server, begin_ms, until_ms).items()):
        start_ms = hour * HOUR_MS
        if start_ms < live_from_ms:
            statements.append(
                f"SELECT * FROM reading WHERE {since} AND {between(start_ms, start_ms + HOUR_MS)}"
                f'{of_probes(probes)} GROUP BY "probe"'
            )
    for probe, at_ms, row in selected(server, statements):
        arrival_ms = arrived_ms(row, at_ms)
        if begin_ms <= arrival_ms and (end_ms is None or arrival_ms < end_ms):
            held = held_of(row, at_ms)
            source = TimeSource(held.time_source)
            yield Reading(probe, "", at_ms, arrival_ms, held.values, source)


def _late_hours(server: InfluxServer, begin_ms: int, end_ms: int) -> dict[int, set[str]]:
    """Return the hours, with the probes, for which rows arrived late in [begin_ms, end_ms)."""
    found: dict[int, set[str]] = {}
    statement = f'SELECT "n" FROM late WHERE {between(begin_ms, end_ms)} GROUP BY "probe"'
    for table in server.query([statement], epoch="ns"):
        for at_ns in table.column("time"):
            hour = int(at_ns or 0) % NS_A_MS
            found.setdefault(hour, set()).add(table.tags["probe"])
    return found


def _far(begin_ms: int) -> int:
    """Return an end that no arrival reaches: clocks of workers differ by minutes at most."""
    return begin_ms + 100 * DAY_MS
