"""The embedded store of readings: one SQLite file, hot rows and packed days behind one door.

Writing goes through one connection under a lock; every reading thread has a read-only connection of
its own, so that reading never holds writing up (WAL). `hot.py` has the layout and the upsert,
`packing.py` the nightly packing, `docs/storage.md` the reasons for the pragmas.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from underlid.readings.values import RawMessage, Reading, Rejected, RejectReason
from underlid.storage.day_block import unpack
from underlid.storage.hot import HotTable, connect
from underlid.storage.packing import Packer, forget_old, read_hot
from underlid.storage.protocols import Buckets, ProbeSeen, RawSeries
from underlid.storage.rollups import HOURS, Sums, bucket_starts, buckets_of, from_blobs, sums
from underlid.storage.seen import SeenProbes
from underlid.storage.series import NOTHING, cut, joined, merged
from underlid.storage.trouble import store_error
from underlid.timeline import DAY_MS, HOUR_MS


class SqliteReadings:
    """Implements `protocols.ReadingStore` on one file."""

    def __init__(self, path: Path, raw_days: int = 400, hourly_days: int = 3650) -> None:
        self.path = path
        self._raw_days = raw_days
        self._hourly_days = hourly_days
        self._lock = threading.Lock()
        self._local = threading.local()
        self._readers: list[sqlite3.Connection] = []
        try:
            self._hot = HotTable(connect(path))
            self._packer = Packer(self._locked, self._reader)
            self._seen = SeenProbes.load(self._reader())
        except sqlite3.Error as error:
            raise store_error(error, path) from error

    def write(self, readings: Sequence[Reading], rejected: Sequence[Rejected] = ()) -> None:
        """Store all in one fsynced commit (see `protocols.ReadingStore.write`)."""
        if not readings and not rejected:
            return
        with self._lock:
            connection = self._hot.connection
            try:
                connection.execute("BEGIN IMMEDIATE")
                refused = self._hot.insert(readings)
                self._hot.note_rejected([*rejected, *refused])
                connection.execute("COMMIT")
            except sqlite3.Error as error:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                self._hot.load_ids()
                raise store_error(error, self.path) from error
            if readings:
                self._seen.note(readings)
                self._packer.disturbed_by(min(one.taken_at_ms for one in readings))

    def raw(self, probe: str, start_ms: int, end_ms: int) -> RawSeries:
        """Return the raw readings with start_ms ≤ taken_at_ms < end_ms."""
        with self._snapshot() as reader:
            number = self._hot.probes.get(probe)
            if number is None or end_ms <= start_ms:
                return NOTHING
            series = self._packed(reader, number, start_ms, end_ms)
            fresh = read_hot(reader, self._channels(reader), start_ms, end_ms, (number,))
            if number in fresh:
                series = merged(series, fresh[number])
            return series

    def buckets(self, probe: str, start_ms: int, end_ms: int, step_ms: int) -> Buckets:
        """Return min, mean, max, count per step; a day's kept hours serve steps of whole hours."""
        starts = bucket_starts(start_ms, end_ms, step_ms)
        with self._snapshot() as reader:
            number = self._hot.probes.get(probe)
            if number is None or not len(starts):
                return buckets_of(starts, step_ms, {})
            first_ms, last_ms = int(starts[0]), int(starts[-1]) + step_ms
            if step_ms % HOUR_MS == 0:
                by_channel = self._from_hours(reader, number, starts, step_ms)
            else:
                series = self.raw(probe, first_ms, last_ms)
                by_channel = {
                    name: sums(series.taken_at_ms, values, first_ms, len(starts), step_ms)
                    for name, values in series.values.items()
                }
            return buckets_of(starts, step_ms, by_channel)

    def buckets_of_all(
        self, probes: Sequence[str], start_ms: int, end_ms: int, step_ms: int
    ) -> Iterator[tuple[str, Buckets]]:
        """Yield the buckets of many probes: one scan of the hot rows serves them all."""
        starts = bucket_starts(start_ms, end_ms, step_ms)
        with self._snapshot() as reader:
            numbers = {name: self._hot.probes[name] for name in probes if name in self._hot.probes}
            if not numbers or not len(starts):
                return
            first_ms, last_ms = int(starts[0]), int(starts[-1]) + step_ms
            channels = self._channels(reader)
            fresh = read_hot(reader, channels, first_ms, last_ms, tuple(numbers.values()))
            for name, number in numbers.items():
                series = self._packed(reader, number, first_ms, last_ms)
                if number in fresh:
                    series = merged(series, fresh[number])
                found = {
                    channel: sums(series.taken_at_ms, values, first_ms, len(starts), step_ms)
                    for channel, values in series.values.items()
                }
                yield name, buckets_of(starts, step_ms, found)

    def hourly(self, probe: str, channel: str, start_ms: int, end_ms: int) -> Buckets:
        """Return the hourly buckets of one channel only."""
        starts = bucket_starts(start_ms, end_ms, HOUR_MS)
        with self._snapshot() as reader:
            number = self._hot.probes.get(probe)
            if number is None or not len(starts):
                return buckets_of(starts, HOUR_MS, {})
            found = self._from_hours(reader, number, starts, HOUR_MS, only=channel)
            return buckets_of(starts, HOUR_MS, found)

    def probes_seen(self) -> list[ProbeSeen]:
        """Return every probe that ever sent a reading."""
        with self._lock:
            return self._seen.all()

    def probe_seen(self, probe: str) -> ProbeSeen | None:
        """Return one probe, or None when it never sent a reading."""
        with self._lock:
            return self._seen.get(probe)

    def recent_rejects(self, most: int = 100) -> list[Rejected]:
        """Return the newest rejected messages, newest first."""
        rows = self._reader().execute(
            "SELECT reason, sentence, topic, payload, received_at_ms FROM rejected"
            " ORDER BY id DESC LIMIT ?",
            (most,),
        )
        return [
            Rejected(RejectReason(reason), sentence, RawMessage(topic, payload, at_ms))
            for reason, sentence, topic, payload, at_ms in rows
        ]

    def reject_counts(self) -> dict[str, int]:
        """Return how many messages were rejected, by reason, since the store was made."""
        return dict(self._reader().execute("SELECT reason, n FROM reject_count ORDER BY reason"))

    def pack(self, now_ms: int) -> int:
        """Pack closed days and drop what is too old; return the rows handled."""
        try:
            rows = sum(self._packer.steps(now_ms))
            forget_old(self._locked, now_ms, self._raw_days, self._hourly_days)
        except sqlite3.Error as error:
            raise store_error(error, self.path) from error
        return rows

    def pack_steps(self, now_ms: int) -> Iterator[int]:
        """Pack in steps, for a caller that wants to do other things between them."""
        yield from self._packer.steps(now_ms)

    def checkpoint(self) -> None:
        """Move committed pages from the log to the file, without waiting for anybody."""
        self._reader().execute("PRAGMA wal_checkpoint(PASSIVE)")

    def backup_to(self, path: Path) -> None:
        """Write a consistent copy to *path*, while the store is in use."""
        target = sqlite3.connect(path)
        try:
            self._reader().backup(target)
        finally:
            target.close()

    def size_bytes(self) -> int:
        """Return the bytes of the file and its log on disk."""
        log = self.path.with_name(self.path.name + "-wal")
        return self.path.stat().st_size + (log.stat().st_size if log.exists() else 0)

    def close(self) -> None:
        """Finish writing and let go of the files."""
        with self._lock:
            for reader in self._readers:
                reader.close()
            self._readers.clear()
            self._hot.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            self._hot.connection.close()

    @contextmanager
    def _locked(self) -> Iterator[HotTable]:
        with self._lock:
            yield self._hot

    def _reader(self) -> sqlite3.Connection:
        """Return this thread's own connection for reading."""
        reader: sqlite3.Connection | None = getattr(self._local, "reader", None)
        if reader is None:
            reader = sqlite3.connect(self.path, isolation_level=None, check_same_thread=False)
            reader.execute("PRAGMA busy_timeout = 10000")
            self._local.reader = reader
            self._readers.append(reader)
        return reader

    @contextmanager
    def _snapshot(self) -> Iterator[sqlite3.Connection]:
        """Read blocks and hot rows of one moment, so that packing cannot come between them."""
        reader = self._reader()
        if reader.in_transaction:
            yield reader
            return
        reader.execute("BEGIN")
        try:
            yield reader
        finally:
            reader.execute("COMMIT")

    @staticmethod
    def _channels(reader: sqlite3.Connection) -> dict[str, int]:
        return dict(reader.execute("SELECT name, id FROM channel ORDER BY id"))

    @staticmethod
    def _packed(reader: sqlite3.Connection, probe: int, start_ms: int, end_ms: int) -> RawSeries:
        """Return the rows of the probe's blocks in [start_ms, end_ms)."""
        blocks = reader.execute(
            "SELECT block FROM packed_day WHERE probe = ? AND day >= ? AND day <= ? ORDER BY day",
            (probe, start_ms // DAY_MS, (end_ms - 1) // DAY_MS),
        )
        return cut(joined([unpack(block) for (block,) in blocks]), start_ms, end_ms)

    def _from_hours(
        self,
        reader: sqlite3.Connection,
        probe: int,
        starts: np.ndarray[tuple[int], np.dtype[np.int64]],
        step_ms: int,
        only: str | None = None,
    ) -> dict[str, Sums]:
        """Sum whole hours up: kept hours of packed days, raw rows of all others."""
        first_ms, last_ms = int(starts[0]), int(starts[-1]) + step_ms
        channels = self._channels(reader)
        fresh = read_hot(
            reader,
            {only: channels[only]} if only in channels and only is not None else channels,
            first_ms,
            last_ms,
            (probe,),
        ).get(probe, NOTHING)
        late = np.unique(fresh.taken_at_ms // DAY_MS)
        result: dict[str, Sums] = {}
        for name, number in channels.items():
            if only is not None and name != only:
                continue
            found = reader.execute(
                "SELECT day, sums FROM hourly WHERE probe = ? AND channel = ?"
                " AND day >= ? AND day <= ? ORDER BY day",
                (probe, number, first_ms // DAY_MS, (last_ms - 1) // DAY_MS),
            ).fetchall()
            found = [row for row in found if row[0] not in late]
            if not found:
                continue
            days = np.array([day for day, _ in found], np.int64)
            hours = (days[:, None] * HOURS + np.arange(HOURS)).ravel() * HOUR_MS
            inside = (hours >= first_ms) & (hours < last_ms)
            every = from_blobs([blob for _, blob in found])
            result[name] = Sums.empty(len(starts))
            result[name].add_at(
                ((hours - first_ms) // step_ms)[inside],
                Sums(*(getattr(every, part)[inside] for part in ("low", "total", "high", "count"))),
            )
        for day in late.tolist():
            whole = merged(
                self._packed(reader, probe, day * DAY_MS, (day + 1) * DAY_MS),
                cut(fresh, day * DAY_MS, (day + 1) * DAY_MS),
            )
            for name, values in whole.values.items():
                if only is not None and name != only:
                    continue
                part = sums(whole.taken_at_ms, values, first_ms, len(starts), step_ms)
                result.setdefault(name, Sums.empty(len(starts)))
                result[name].add_at(np.arange(len(starts)), part)
        return result
