"""Sums of closed hours, computed here and written as ordinary points, so that a year reads quickly.

Each worker sums up the hours for which it has sent rows; two that sent rows of one hour both do and
write the same. Late rows make their hour stale for everybody until whoever sent them has summed it
up again. No continuous query, `INTO` or `DELETE`: those differ between InfluxDB's versions.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import Final

from underlid.storage.influx import selecting
from underlid.storage.influx.buffer import Buffer, Dirty
from underlid.storage.influx.lines import hourly_line, stale_line
from underlid.storage.influx.server import InfluxServer
from underlid.storage.rollups import sums_of
from underlid.timeline import DAY_MS, HOUR_MS

GRACE_MS: Final = 2 * HOUR_MS
"""An hour is summed up this long after its end, so that batteries that report hourly are in."""

PROBES_A_QUERY: Final = 50
"""Probes whose day is read in one request: some ten megabytes at one reading a minute."""

HOURS_A_LOOK: Final = 5_000
"""Hours that are looked at in one go."""

HOURS_A_DAY: Final = DAY_MS // HOUR_MS


def sum_up(
    buffer: Buffer, server: InfluxServer, moving: threading.Lock, now_ms: int
) -> Iterator[int]:
    """Sum up every closed hour that is to be; yield the hours done, after each step."""
    before = (now_ms - GRACE_MS) // HOUR_MS
    while True:
        with moving:
            found = buffer.dirty(before, HOURS_A_LOOK)
            if not found:
                return
            day = found[0].hour // HOURS_A_DAY
            some = [one for one in found if one.hour // HOURS_A_DAY == day]
            probes = sorted({one.probe for one in some})[:PROBES_A_QUERY]
            some = [one for one in some if one.probe in set(probes)]
            _write(buffer, server, probes, some)
            buffer.summed_up(some)
        yield len(some)


def _write(buffer: Buffer, server: InfluxServer, probes: list[str], some: list[Dirty]) -> None:
    """Sum up the hours *some* of one day and write them."""
    first = min(one.hour for one in some)
    n = max(one.hour for one in some) + 1 - first
    series = selecting.rows(server, probes, first * HOUR_MS, (first + n) * HOUR_MS)
    sums = {probe: sums_of(one, first * HOUR_MS, n, HOUR_MS) for probe, one in series.items()}
    lines = []
    for one in some:
        mine = sums.get(one.probe, {})
        line = hourly_line(one.probe, one.hour * HOUR_MS, mine, one.hour - first)
        if line is not None:
            lines.append(line)
        if one.marked:
            lines.append(stale_line(one.probe, buffer.worker, one.hour, stale=False))
    if lines:
        server.write("\n".join(lines))
