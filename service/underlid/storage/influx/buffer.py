"""The file that takes readings before they are acknowledged, and what of them is still to be done.

`HotStore` has the rows. Here they are handed out in batches and taken out once the server has them;
beside them lie the rows that the server refused, and the hours that are to be summed up. A row that
changes while its batch is under way stays, and goes out again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from uuid import uuid4

import msgspec

from underlid.readings.values import Reading, TimeSource
from underlid.storage.hot import Key
from underlid.storage.hot_rows import read_hot
from underlid.storage.hot_store import HotStore
from underlid.storage.influx.lines import OutRow
from underlid.storage.layout import transaction
from underlid.storage.protocols import RawSeries, RefusedRow
from underlid.storage.resends import NUMBERS_KEPT_MS

PAGES_MOST: Final = 2_000_000
"""Size of the file, 8 GB: about 100 million readings, a day of a thousand a second. Beyond it
nothing is stored and nothing acknowledged, as on a full disk, until the server takes some."""

REFUSED_MOST: Final = 100_000
"""Refused rows kept. When there are more, something is wrong with the server or the bucket and not
with rows: sending stops, and a person is asked."""

ROWS_A_SLICE: Final = 1000
"""Rows taken out in one transaction: a millisecond or two."""

COUNTED_MOST: Final = 1_000_000
"""Waiting rows are counted up to here; nobody needs to know more."""

ALWAYS_MS: Final = 1 << 62
BEFORE_ALL: Final = (-ALWAYS_MS, 0)

TABLES: Final = """
CREATE TABLE IF NOT EXISTS refused (
    probe TEXT NOT NULL, time INTEGER NOT NULL, shed TEXT NOT NULL, received_at_ms INTEGER NOT NULL,
    source INTEGER NOT NULL, channels BLOB NOT NULL, said TEXT NOT NULL,
    refused_at_ms INTEGER NOT NULL, PRIMARY KEY (probe, time));
CREATE TABLE IF NOT EXISTS dirty_hour (
    hour INTEGER NOT NULL, probe TEXT NOT NULL, marked INTEGER NOT NULL,
    PRIMARY KEY (hour, probe)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS worker (id TEXT PRIMARY KEY);
"""

_encode = msgspec.msgpack.Encoder().encode
_decode = msgspec.msgpack.Decoder(dict[str, float]).decode


class Dirty(msgspec.Struct, frozen=True, gc=False):
    """An hour of a probe that is to be summed up again."""

    hour: int
    probe: str
    marked: bool
    """Others were told that its sums are stale."""


@dataclass(frozen=True, slots=True)
class Batch:
    """Rows on their way out, each with its key in the file."""

    keys: list[Key]
    rows: list[OutRow]


class Buffer:
    """One worker's file; writing to it never waits for the server."""

    def __init__(self, path: Path) -> None:
        self.store = HotStore(path)
        with self.store.trouble(), self.store.locked() as hot:
            connection = hot.connection
            connection.execute(f"PRAGMA max_page_count = {PAGES_MOST}")
            connection.executescript(TABLES)
            held = connection.execute("SELECT id FROM worker").fetchone()
            self.worker: str = held[0] if held else uuid4().hex[:8]
            """Names this file among the workers'."""
            if not held:
                connection.execute("INSERT INTO worker VALUES (?)", (self.worker,))

    def batch(
        self, most: int, untimed_before_ms: int = ALWAYS_MS, after: Key | None = None
    ) -> Batch:
        """Return the oldest rows, and watch from now on for rows that come under their times.

        The next ones, when *after* is the last key of a batch before; `moved` ends the watch.
        Rows that have their time from their receipt stay until that is before *untimed_before_ms*:
        another of the same millisecond that comes yet must find the place taken (`hot.py`).
        """
        with self.store.locked() as hot:
            if after is None:
                self.store.late.begin(ALWAYS_MS)
            self.store.late.widen(ALWAYS_MS)
            names, sheds = dict(hot.probes.names), dict(hot.probes.sheds)
            channels = list(hot.channels.items())
        columns = "".join(f", c{number}" for _, number in channels)
        channel_names = [name for name, _ in channels]
        batch = Batch([], [])
        with self.store.readers.snapshot() as reader:
            found = reader.execute(
                f"SELECT time, probe, delay_ms, source{columns} FROM hot"
                " WHERE (time, probe) > (?, ?) AND (source = 0 OR time < ?)"
                " ORDER BY time, probe LIMIT ?",
                (*(after or BEFORE_ALL), untimed_before_ms, most),
            ).fetchall()
        for at_ms, probe, delay_ms, source, *cells in found:
            if probe not in names:
                continue  # it came after the names were read
            values = {
                name: cell
                for name, cell in zip(channel_names, cells, strict=True)
                if cell is not None
            }
            batch.keys.append((at_ms, probe))
            batch.rows.append(
                OutRow(names[probe], sheds[probe], at_ms, at_ms + delay_ms, source, values)
            )
        last = batch.keys[-1] if batch.keys else after
        with self.store.locked():
            self.store.late.narrow(last[0] + 1 if last else 0)
        return batch

    def sent(self, batch: Batch, dirty: Collection[Dirty], refused: Collection[RefusedRow]) -> int:
        """Take a batch out, but for rows that changed meanwhile; return how many went.

        What the server refused and which hours are to be summed up is noted before.
        """
        with self.store.trouble():
            if dirty or refused:
                with self.store.locked() as hot, transaction(hot.connection):
                    self._note(hot.connection, dirty, refused)
            gone = 0
            for first in range(0, len(batch.keys), ROWS_A_SLICE):
                with self.store.locked() as hot, _unhurried(hot.connection):
                    late = self.store.late
                    keys = [
                        key for key in batch.keys[first : first + ROWS_A_SLICE] if not late.has(key)
                    ]
                    hot.connection.executemany("DELETE FROM hot WHERE time = ? AND probe = ?", keys)
                    gone += len(keys)
        return gone

    def moved(self) -> None:
        """End the watch that `batch` began."""
        with self.store.locked():
            self.store.late.begin(0)

    def fresh(self, probes: Collection[str], start_ms: int, end_ms: int) -> dict[str, RawSeries]:
        """Return the rows of *probes* that wait here, in [start_ms, end_ms), by probe."""
        known = self.store.hot.probes.numbers
        names = {known[name]: name for name in probes if name in known}
        if not names or end_ms <= start_ms:
            return {}
        with self.store.readers.snapshot() as reader:
            found = read_hot(reader, start_ms, end_ms, names.keys())
        return {names[number]: series for number, series in found.items()}

    def waiting(self) -> int:
        """Return how many rows wait, counted up to `COUNTED_MOST`."""
        statement = "SELECT count(*) FROM (SELECT 1 FROM hot LIMIT ?)"
        with self.store.readers.snapshot() as reader:
            return int(reader.execute(statement, (COUNTED_MOST,)).fetchone()[0])

    def oldest_received_ms(self) -> int | None:
        """Return when the row that waits longest was received, as far as the oldest rows tell."""
        some = "SELECT time + delay_ms AS at_ms FROM hot ORDER BY time LIMIT ?"
        with self.store.readers.snapshot() as reader:
            row = reader.execute(f"SELECT min(at_ms) FROM ({some})", (ROWS_A_SLICE,)).fetchone()
        found: int | None = row[0]
        return found

    def refused_count(self) -> int:
        """Return how many rows the server refused."""
        with self.store.readers.snapshot() as reader:
            return int(reader.execute("SELECT count(*) FROM refused").fetchone()[0])

    def refused(self, most: int) -> list[RefusedRow]:
        """Return refused rows, the newest refusal first."""
        with self.store.readers.snapshot() as reader:
            return list(
                _refused(
                    reader.execute(
                        "SELECT probe, shed, time, received_at_ms, source, channels, said,"
                        " refused_at_ms FROM refused"
                        " ORDER BY refused_at_ms DESC, probe, time LIMIT ?",
                        (most,),
                    )
                )
            )

    def retry(self) -> int:
        """Put the refused rows back among those that wait; return how many."""
        rows = [one.reading for one in self.refused(2 * REFUSED_MOST)]
        for first in range(0, len(rows), ROWS_A_SLICE):
            some = rows[first : first + ROWS_A_SLICE]
            with self.store.trouble(), self.store.locked() as hot, transaction(hot.connection):
                self.store.late.note(hot.insert(some).rows.keys())
                hot.connection.executemany(
                    "DELETE FROM refused WHERE probe = ? AND time = ?",
                    [(one.probe, one.taken_at_ms) for one in some],
                )
        return len(rows)

    def dirty(self, before_hour: int, most: int) -> list[Dirty]:
        """Return the oldest hours to be summed up that began before number *before_hour*."""
        with self.store.readers.snapshot() as reader:
            rows = reader.execute(
                "SELECT hour, probe, marked FROM dirty_hour WHERE hour < ?"
                " ORDER BY hour, probe LIMIT ?",
                (before_hour, most),
            ).fetchall()
        return [Dirty(hour, probe, bool(marked)) for hour, probe, marked in rows]

    def summed_up(self, done: Sequence[Dirty]) -> None:
        """Note that these hours are summed up."""
        with self.store.trouble(), self.store.locked() as hot, transaction(hot.connection):
            hot.connection.executemany(
                "DELETE FROM dirty_hour WHERE hour = ? AND probe = ?",
                [(one.hour, one.probe) for one in done],
            )

    def forget_numbers(self, now_ms: int) -> None:
        """Forget message numbers that are too old to be sent again."""
        with self.store.locked() as hot:
            probes = list(hot.probes.names)
        for probe in probes:
            with self.store.trouble(), self.store.locked() as hot, transaction(hot.connection):
                hot.connection.execute(
                    "DELETE FROM numbered WHERE probe = ? AND received_at_ms < ?",
                    (probe, now_ms - NUMBERS_KEPT_MS),
                )

    @staticmethod
    def _note(
        connection: sqlite3.Connection, dirty: Collection[Dirty], refused: Collection[RefusedRow]
    ) -> None:
        connection.executemany(
            "INSERT INTO dirty_hour VALUES (?, ?, ?)"
            " ON CONFLICT DO UPDATE SET marked = max(marked, excluded.marked)",
            [(one.hour, one.probe, one.marked) for one in dirty],
        )
        connection.executemany(
            "INSERT INTO refused VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET"
            " channels = excluded.channels, received_at_ms = excluded.received_at_ms,"
            " said = excluded.said, refused_at_ms = excluded.refused_at_ms",
            [
                (
                    one.reading.probe,
                    one.reading.taken_at_ms,
                    one.reading.shed,
                    one.reading.received_at_ms,
                    one.reading.time_source,
                    _encode(one.reading.values),
                    one.said,
                    one.refused_at_ms,
                )
                for one in refused
            ],
        )


@contextmanager
def _unhurried(connection: sqlite3.Connection) -> Iterator[None]:
    """Commit without waiting for the disk: rows that a power cut brings back are sent once more."""
    connection.execute("PRAGMA synchronous = NORMAL")
    try:
        with transaction(connection):
            yield
    finally:
        connection.execute("PRAGMA synchronous = FULL")


def _refused(rows: sqlite3.Cursor) -> Iterator[RefusedRow]:
    for probe, shed, time, received, source, channels, said, refused_at_ms in rows:
        values = _decode(channels)
        reading = Reading(probe, shed, time, received, values, TimeSource(source))
        yield RefusedRow(reading, said, refused_at_ms)
