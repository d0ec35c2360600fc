"""InfluxDB as the place a history is moved to: straight to the server, hours and all."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import islice
from threading import Event
from typing import Final

import numpy as np

from underlid.errors import UnderlidError
from underlid.storage.arrival_rows import readings_of
from underlid.storage.influx import selecting
from underlid.storage.influx.backoff import Backoff
from underlid.storage.influx.drain import BATCH_ROWS
from underlid.storage.influx.lines import (
    OutRow,
    hourly_line,
    probe_line,
    reading_line,
    unfit,
)
from underlid.storage.influx.server import InfluxServer
from underlid.storage.influx.trouble import AwayError
from underlid.storage.protocols import Buckets, ProbeSeen, RawSeries
from underlid.storage.rollups import Sums, sums_of
from underlid.storage.series import merged
from underlid.timeline import HOUR_MS

TRIES: Final = 8
"""Tries before a move stops, about a minute of waiting; run again, it goes on where it was."""


class InfluxTarget:
    """Writes line protocol; what is written twice is there once."""

    def __init__(self, server: InfluxServer) -> None:
        self._server = server

    def series(self, probe: str, start_ms: int, end_ms: int) -> RawSeries:
        """Return what the server has of a probe in [start_ms, end_ms)."""
        return selecting.raw(self._server, probe, start_ms, end_ms)

    def take(self, seen: ProbeSeen, series: RawSeries) -> None:
        """Keep the sums of their hours, made from all that will be there, and then the rows."""
        if not len(series.taken_at_ms):
            return
        rows = (
            OutRow(
                one.probe,
                one.shed,
                one.taken_at_ms,
                one.received_at_ms,
                one.time_source,
                one.values,
            )
            for one in readings_of(series, seen.probe, seen.shed)
        )
        first_ms = int(series.taken_at_ms[0]) // HOUR_MS * HOUR_MS
        n = (int(series.taken_at_ms[-1]) - first_ms) // HOUR_MS + 1
        whole = merged(self.series(seen.probe, first_ms, first_ms + n * HOUR_MS), series)
        self._write(_hours(seen.probe, first_ms, n, sums_of(whole, first_ms, n, HOUR_MS)))
        self._write([probe_line(seen.probe, seen.shed, int(series.received_at_ms[-1]))])
        self._write(_line(row) for row in rows)

    def take_hours(self, probe: str, hours: Buckets) -> bool:
        """Keep hours of which there are no rows any more."""
        sums = {}
        for name, count in hours.count.items():
            total = np.where(count > 0, np.nan_to_num(hours.mean[name]) * count, 0.0)
            sums[name] = Sums(hours.low[name], total, hours.high[name], count)
        self._write(_hours(probe, int(hours.start_ms[0]), len(hours.start_ms), sums))
        return True

    def tidy(self, *, over: bool) -> None:
        """Do nothing: the server tidies up by itself."""

    def _write(self, lines: Iterable[str]) -> None:
        left = iter(lines)
        while some := list(islice(left, BATCH_ROWS)):
            self._write_patiently("\n".join(some))

    def _write_patiently(self, lines: str) -> None:
        waits = Backoff()
        for last in range(TRIES):
            try:
                self._server.write(lines)
            except AwayError as error:
                if last == TRIES - 1:
                    raise
                Event().wait(waits.again(error.retry_after_s))
            else:
                return


def _line(row: OutRow) -> str:
    why = unfit(row)
    if why is not None:
        raise UnderlidError(
            "a reading",
            value=f"{row.probe} at {row.taken_at_ms}",
            expected=f"one that InfluxDB can hold ({why})",
            next_step="Look at it with `underlid export`; it cannot be moved as it is.",
        )
    return reading_line(row)


def _hours(probe: str, first_ms: int, n: int, sums: dict[str, Sums]) -> Iterable[str]:
    for at in range(n):
        line = hourly_line(probe, first_ms + at * HOUR_MS, sums, at)
        if line is not None:
            yield line
