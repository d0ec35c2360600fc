"""Closed hours go into their day's block: in small steps, none of which holds ingest up.

Groups of probes are read from the hot table, merged with the day's block so far, written as one
block and 24 hourly sums a probe and day, one transaction a group. Only then the hot rows go, in
slices. A row that arrives for the packed span in the meantime stops the deleting: the next run
merges it, as it merges late data. Reading merges hot rows over blocks, so every moment of this, a
crash included, shows the same data. The hot table stays a few hours long, which is what keeps the
reading of one probe quick: its key begins with the time.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Generator, Iterator
from contextlib import AbstractContextManager
from typing import Final

import numpy as np

from underlid.storage.day_block import pack, unpack
from underlid.storage.hot import HotTable
from underlid.storage.protocols import Floats, RawSeries
from underlid.storage.rollups import hourly_blobs
from underlid.storage.series import merged
from underlid.timeline import DAY_MS, HOUR_MS

GRACE_MS: Final = 2 * HOUR_MS
"""An hour is closed this long after its end, so that batteries that report hourly are in."""

PROBES_A_STEP: Final = 32
"""Probes packed in one transaction: some 10 MB of rows at one a minute."""

ROWS_A_SLICE: Final = 4000
"""Hot rows deleted in one transaction: a few milliseconds."""

NUMBERS_KEPT_MS: Final = 30 * DAY_MS
"""How long a probe's message numbers are remembered to tell a resend."""

Locked = Callable[[], AbstractContextManager[HotTable]]


def read_hot(
    connection: sqlite3.Connection,
    channels: dict[str, int],
    start_ms: int,
    end_ms: int,
    probes: tuple[int, ...],
) -> dict[int, RawSeries]:
    """Return the hot rows of *probes* in [start_ms, end_ms), by probe id, in time order."""
    columns = [f"c{number}" for number in channels.values()]
    rows = connection.execute(
        f"SELECT {', '.join(['probe', 'time', 'delay_ms', *columns])} FROM hot"
        f" WHERE time >= ? AND time < ? AND probe IN ({', '.join('?' * len(probes))})",
        (start_ms, end_ms, *probes),
    ).fetchall()
    if not rows:
        return {}
    table = np.array(rows, dtype=np.float64)
    table = table[np.argsort(table[:, 0], kind="stable")]
    edges = np.flatnonzero(np.diff(table[:, 0], prepend=-1.0))
    return {int(mine[0, 0]): _series(mine, channels) for mine in np.split(table, edges[1:])}


def _series(mine: Floats, channels: dict[str, int]) -> RawSeries:
    """Return one probe's rows (probe, time, delay, a column a channel) as a series."""
    taken_at_ms = mine[:, 1].astype(np.int64)
    return RawSeries(
        taken_at_ms=taken_at_ms,
        received_at_ms=taken_at_ms + mine[:, 2].astype(np.int64),
        values={
            name: mine[:, 3 + place]
            for place, name in enumerate(channels)
            if not np.isnan(mine[:, 3 + place]).all()
        },
    )


class Packer:
    """Packs what is closed, one step at a time; between steps the lock is free."""

    def __init__(self, locked: Locked, reader: Callable[[], sqlite3.Connection]) -> None:
        self._locked = locked
        self._reader = reader
        self._packing_until_ms = 0
        self._disturbed = False

    def disturbed_by(self, first_ms: int) -> None:
        """Note, under the lock, that a row not younger than *first_ms* has just been written."""
        if first_ms < self._packing_until_ms:
            self._disturbed = True

    def steps(self, now_ms: int) -> Generator[int, None, None]:
        """Pack every closed hour; yield the rows handled, after each step."""
        closed_ms = (now_ms - GRACE_MS) // HOUR_MS * HOUR_MS
        while True:
            row = self._reader().execute("SELECT min(time) FROM hot").fetchone()
            if row[0] is None or row[0] >= closed_ms:
                return
            day = row[0] // DAY_MS
            disturbed = yield from self._pack_day(day, min(closed_ms, (day + 1) * DAY_MS))
            if disturbed:
                return

    def _pack_day(self, day: int, until_ms: int) -> Generator[int, None, bool]:
        """Pack one day's hot rows before *until_ms*; tell whether a row came in between."""
        with self._locked():
            self._packing_until_ms, self._disturbed = until_ms, False
        try:
            for probes in self._groups(day, until_ms):
                yield self._pack_probes(day, until_ms, probes)
            while (gone := self._delete_slice(until_ms)) > 0:
                yield gone
            return self._disturbed
        finally:
            with self._locked():
                self._packing_until_ms = 0

    def _groups(self, day: int, until_ms: int) -> Iterator[tuple[int, ...]]:
        rows = self._reader().execute(
            "SELECT DISTINCT probe FROM hot WHERE time >= ? AND time < ? ORDER BY probe",
            (day * DAY_MS, until_ms),
        )
        probes = [int(row[0]) for row in rows.fetchall()]
        for first in range(0, len(probes), PROBES_A_STEP):
            yield tuple(probes[first : first + PROBES_A_STEP])

    def _pack_probes(self, day: int, until_ms: int, probes: tuple[int, ...]) -> int:
        """Write the blocks and hourly sums of one day for a group of probes."""
        reader = self._reader()
        channels: dict[str, int] = dict(reader.execute("SELECT name, id FROM channel"))
        fresh = read_hot(reader, channels, day * DAY_MS, until_ms, probes)
        blocks, hours = [], []
        for probe, series in fresh.items():
            old = reader.execute(
                "SELECT block FROM packed_day WHERE probe = ? AND day = ?", (probe, day)
            ).fetchone()
            whole = merged(unpack(old[0]), series) if old else series
            blocks.append((probe, day, len(whole.taken_at_ms), pack(whole)))
            hours += [
                (probe, channels[name], day, blob)
                for name, blob in hourly_blobs(whole, day).items()
            ]
        with self._locked() as hot:
            hot.connection.execute("BEGIN IMMEDIATE")
            hot.connection.executemany(
                "INSERT OR REPLACE INTO packed_day VALUES (?, ?, ?, ?)", blocks
            )
            hot.connection.executemany("INSERT OR REPLACE INTO hourly VALUES (?, ?, ?, ?)", hours)
            hot.connection.execute("COMMIT")
        return sum(len(series.taken_at_ms) for series in fresh.values())

    def _delete_slice(self, until_ms: int) -> int:
        """Delete some of the packed hot rows; 0 when none are left or one has come in."""
        with self._locked() as hot:
            if self._disturbed:
                return 0
            cursor = hot.connection.execute(
                "DELETE FROM hot WHERE time < ? AND (time, probe) IN"
                " (SELECT time, probe FROM hot WHERE time < ? ORDER BY time LIMIT ?)",
                (until_ms, until_ms, ROWS_A_SLICE),
            )
            return cursor.rowcount


def forget_old(locked: Locked, now_ms: int, raw_days: int, hourly_days: int) -> None:
    """Drop blocks, hours and message numbers that are older than they are kept."""
    today = now_ms // DAY_MS
    with locked() as hot:
        connection = hot.connection
        connection.execute("DELETE FROM packed_day WHERE day < ?", (today - raw_days,))
        connection.execute("DELETE FROM hourly WHERE day < ?", (today - hourly_days,))
        connection.execute(
            "DELETE FROM numbered WHERE received_at_ms < ?", (now_ms - NUMBERS_KEPT_MS,)
        )
