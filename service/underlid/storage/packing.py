"""Closed hours go into their day's block: in small steps, none of which holds ingest up.

Probes in groups are read from the hot table, each merged with its day's block so far and written
as one block with 24 hourly sums a channel, a few probes a transaction. Only then the hot rows go,
in slices. A row that arrives for the packed span in the meantime is noted and stays; the next run
merges it, as it merges all late data. Reading merges hot rows over blocks, so every moment of
this, a crash included, shows the same data. The hot table stays a few hours long, which is what
keeps the reading of one probe quick: its key begins with the time.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Generator, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import Final

from underlid.storage.hot import HotTable
from underlid.storage.hot_rows import read_hot
from underlid.storage.late import Late
from underlid.storage.layout import transaction
from underlid.storage.packed_day import packed_day
from underlid.storage.protocols import RawSeries
from underlid.timeline import DAY_MS, HOUR_MS

SPAN_MS: Final = 4 * HOUR_MS
"""Hours are packed by fours, so that a day's block is written six times and not 24: measured 4
microseconds a row instead of 15."""

GRACE_MS: Final = 2 * HOUR_MS
"""A span is closed this long after its end, so that batteries that report hourly are in."""

ROWS_A_READ: Final = 50_000
"""Hot rows read for one group of probes: each group costs a scan of the span."""

PROBES_A_COMMIT: Final = 4
"""Probes written in one transaction: about 4 × (1 + 6) pages, a millisecond or two."""

ROWS_A_SLICE: Final = 1000
"""Hot rows deleted in one transaction: a millisecond or two."""

NAMED_MOST: Final = 400
"""Late rows that a slice of deleting steps around; a slice with more of them stays."""

Locked = Callable[[], AbstractContextManager[HotTable]]
Snapshot = Callable[[], AbstractContextManager[sqlite3.Connection]]


class Packer:
    """Packs what is closed, one step at a time; between steps the lock is free."""

    def __init__(self, locked: Locked, snapshot: Snapshot, late: Late) -> None:
        self._locked = locked
        self._snapshot = snapshot
        self._late = late

    def steps(self, now_ms: int) -> Generator[int, None, None]:
        """Pack every closed span, the oldest day first; yield the rows handled, after each step."""
        closed_ms = (now_ms - GRACE_MS) // SPAN_MS * SPAN_MS
        start_ms = 0
        while True:
            with self._snapshot() as reader:
                row = reader.execute(
                    "SELECT min(time) FROM hot WHERE time >= ? AND time < ?", (start_ms, closed_ms)
                ).fetchone()
            if row[0] is None:
                return
            day = row[0] // DAY_MS
            yield from self._pack_day(day, min(closed_ms, (day + 1) * DAY_MS))
            start_ms = (day + 1) * DAY_MS

    def _pack_day(self, day: int, until_ms: int) -> Generator[int, None, None]:
        """Pack one day's hot rows before *until_ms*, then delete them."""
        with self._watching(until_ms):
            for probes in self._groups(day * DAY_MS, until_ms):
                with self._snapshot() as reader:
                    fresh = list(read_hot(reader, day * DAY_MS, until_ms, probes).items())
                for first in range(0, len(fresh), PROBES_A_COMMIT):
                    yield self._pack_probes(day, fresh[first : first + PROBES_A_COMMIT])
            start_ms: int | None = day * DAY_MS
            while start_ms is not None:
                start_ms = self._delete_slice(start_ms, until_ms)
                yield 0

    @contextmanager
    def _watching(self, until_ms: int) -> Iterator[None]:
        with self._locked():
            self._late.begin(until_ms)
        try:
            yield
        finally:
            with self._locked():
                self._late.begin(0)

    def _groups(self, start_ms: int, until_ms: int) -> Iterator[list[int]]:
        """Yield probes in groups of so many rows as are read at once."""
        with self._snapshot() as reader:
            counts = reader.execute(
                "SELECT probe, count(*) FROM hot WHERE time >= ? AND time < ? GROUP BY probe",
                (start_ms, until_ms),
            ).fetchall()
        group: list[int] = []
        rows = 0
        for probe, count in counts:
            if group and rows + count > ROWS_A_READ:
                yield group
                group, rows = [], 0
            group.append(probe)
            rows += count
        if group:
            yield group

    def _pack_probes(self, day: int, fresh: list[tuple[int, RawSeries]]) -> int:
        """Write the blocks and hourly sums of one day for a few probes."""
        with self._snapshot() as reader:
            days = [packed_day(reader, probe, day, series) for probe, series in fresh]
        with self._locked() as hot, transaction(hot.connection):
            for one in days:
                one.write(hot.connection)
        return sum(len(series.taken_at_ms) for _, series in fresh)

    def _delete_slice(self, start_ms: int, until_ms: int) -> int | None:
        """Delete some packed hot rows from *start_ms* on; return where the next slice begins."""
        with self._locked() as hot:
            if self._late.overrun:
                return None
            connection = hot.connection
            row = connection.execute(
                "SELECT time FROM hot WHERE time >= ? AND time < ? ORDER BY time LIMIT 1 OFFSET ?",
                (start_ms, until_ms, ROWS_A_SLICE),
            ).fetchone()
            end_ms = max(row[0], start_ms + 1) if row else until_ms
            late = self._late.between(start_ms, end_ms)
            if len(late) <= NAMED_MOST:
                stay = f" AND (time, probe) NOT IN (VALUES {', '.join(['(?, ?)'] * len(late))})"
                connection.execute(
                    f"DELETE FROM hot WHERE time >= ? AND time < ?{stay if late else ''}",
                    (start_ms, end_ms, *(part for key in late for part in key)),
                )
            return end_ms if end_ms < until_ms else None
