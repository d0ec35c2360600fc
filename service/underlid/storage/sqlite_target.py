"""A SQLite file as the place a history is moved to."""

from __future__ import annotations

from itertools import islice
from typing import Final

from underlid.storage.arrival_rows import readings_of
from underlid.storage.protocols import Buckets, ProbeSeen, RawSeries
from underlid.storage.sqlite_readings import SqliteReadings

ROWS_AT_ONCE: Final = 4_000
PACK_AFTER_ROWS: Final = 50_000
"""Rows that may lie hot until they are packed."""


class SqliteTarget:
    """Writes through the store's own door, and packs now and then."""

    def __init__(self, store: SqliteReadings, now_ms: int) -> None:
        self._store = store
        self._now_ms = now_ms
        self._hot_rows = 0

    def series(self, probe: str, start_ms: int, end_ms: int) -> RawSeries:
        """Return what is there of a probe in [start_ms, end_ms)."""
        return self._store.raw(probe, start_ms, end_ms)

    def take(self, seen: ProbeSeen, series: RawSeries) -> None:
        """Keep the rows; packing sums their hours up."""
        rows = readings_of(series, seen.probe, seen.shed)
        while some := list(islice(rows, ROWS_AT_ONCE)):
            self._store.write(some)
            self._store.checkpoint()
        self._hot_rows += len(series.taken_at_ms)

    def take_hours(self, probe: str, hours: Buckets) -> bool:  # noqa: ARG002
        """Keep no hours alone: this store makes them from rows."""
        return False

    def tidy(self, *, over: bool) -> None:
        """Pack when much is hot."""
        if over or self._hot_rows > PACK_AFTER_ROWS:
            self._store.pack(self._now_ms)
            self._store.checkpoint()
            self._hot_rows = 0
