"""The embedded store of readings: one SQLite file, hot rows and packed days behind one door.

Writing goes through one connection under a lock; reading uses connections of its own, so that it
never holds writing up (WAL). `hot.py` has the upsert, `packing.py` the packing, `reading_back.py`
the reading, and the storage page (`docs/storage.md`) the reasons for the pragmas.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from itertools import chain
from pathlib import Path
from typing import Final

from underlid.readings.values import Reading, Rejected
from underlid.storage.arrival_rows import arrived_rows
from underlid.storage.fair_lock import FairLock
from underlid.storage.hot import HotTable
from underlid.storage.hot_rows import read_hot
from underlid.storage.layout import open_checkpointer, open_writer, transaction
from underlid.storage.packing import Packer
from underlid.storage.protocols import Buckets, ProbeSeen, RawSeries
from underlid.storage.readers import Readers
from underlid.storage.reading_back import bucket_sums, read_raw
from underlid.storage.rejects import note_rejected, recent_rejects, reject_counts
from underlid.storage.retention import forget_old
from underlid.storage.rollups import bucket_starts, buckets_of
from underlid.storage.seen import SeenProbes
from underlid.storage.series import NOTHING
from underlid.storage.trouble import store_error

LOG_PAGES_MOST: Final = 8192
"""Length of the log, 32 MB, beyond which a checkpoint holds writing up for the moment it needs to
catch up. Under a stream without pause a checkpoint never catches up by itself."""


class SqliteReadings:
    """Implements `protocols.ReadingStore` on one file."""

    def __init__(self, path: Path, raw_days: int = 400, hourly_days: int = 3650) -> None:
        self.path = path
        self._raw_days = raw_days
        self._hourly_days = hourly_days
        self._lock = FairLock()
        self._packing = threading.Lock()
        self._checkpointing = threading.Lock()
        self._closing = False
        self._ids_in_doubt = False
        with self._trouble():
            connection = open_writer(path)
            self._hot = HotTable(connection)
            self._checkpointer = open_checkpointer(path)
            self._readers = Readers(path)
            self._packer = Packer(self._locked, self._readers.snapshot)
            self._seen = SeenProbes(self._hot.probes)
            self._seen.load(connection)

    def write(
        self, readings: Sequence[Reading], rejected: Sequence[Rejected] = ()
    ) -> Sequence[Reading]:
        """Store all in one fsynced commit (see `protocols.ReadingStore.write`)."""
        if not readings and not rejected:
            return readings
        with self._trouble(), self._lock:
            if self._ids_in_doubt:
                self._hot.load_ids()
            self._ids_in_doubt = True
            with transaction(self._hot.connection):
                inserted = self._hot.insert(readings)
                note_rejected(self._hot.connection, [*rejected, *inserted.refused])
            self._ids_in_doubt = False
            self._packer.late.note(inserted.rows.keys())
            self._seen.note(inserted.rows)
        return inserted.readings

    def raw(self, probe: str, start_ms: int, end_ms: int) -> RawSeries:
        """Return the raw readings with start_ms ≤ taken_at_ms < end_ms."""
        number = self._hot.probes.numbers.get(probe)
        if number is None or end_ms <= start_ms:
            return NOTHING
        with self._readers.snapshot() as reader:
            return read_raw(reader, number, start_ms, end_ms)

    def buckets(
        self,
        probe: str,
        start_ms: int,
        end_ms: int,
        step_ms: int,
        channels: Collection[str] | None = None,
    ) -> Buckets:
        """Return min, mean, max, count per step; a day's kept hours serve steps of whole hours."""
        starts = bucket_starts(start_ms, end_ms, step_ms)
        number = self._hot.probes.numbers.get(probe)
        if number is None or not len(starts):
            return buckets_of(starts, step_ms, {})
        with self._readers.snapshot() as reader:
            return buckets_of(
                starts, step_ms, bucket_sums(reader, number, starts, step_ms, channels)
            )

    def buckets_of_all(
        self, probes: Sequence[str], start_ms: int, end_ms: int, step_ms: int
    ) -> Iterator[tuple[str, Buckets]]:
        """Yield the buckets of many probes: one scan of the hot rows serves them all.

        Rows only go from hot to packed, so hot ones read first and blocks afterwards miss none, and
        the log need not wait for whoever takes these in.
        """
        starts = bucket_starts(start_ms, end_ms, step_ms)
        known = self._hot.probes.numbers
        numbers = {name: known[name] for name in probes if name in known}
        if not numbers or not len(starts):
            return
        first_ms, last_ms = int(starts[0]), int(starts[-1]) + step_ms
        with self._readers.snapshot() as reader:
            fresh = read_hot(reader, first_ms, last_ms, set(numbers.values()))
        for name, number in numbers.items():
            rows = fresh.pop(number, NOTHING)
            with self._readers.snapshot() as reader:
                sums = bucket_sums(reader, number, starts, step_ms, fresh=rows)
            yield name, buckets_of(starts, step_ms, sums)

    def arrived_since(self, received_at_ms: int, most: int) -> list[Reading]:
        """Return what was received at or after *received_at_ms*, oldest first."""
        with self._readers.snapshot() as reader:
            return arrived_rows(reader, received_at_ms, most)

    def probe_seen(self, probe: str) -> ProbeSeen | None:
        """Return one probe, or None when it never sent a reading."""
        return self._seen.get(probe)

    def probes_seen(self) -> list[ProbeSeen]:
        """Return every probe that ever sent a reading, by name."""
        return self._seen.all()

    def recent_rejects(self, most: int = 100) -> list[Rejected]:
        """Return the newest rejected messages, newest first."""
        with self._readers.snapshot() as reader:
            return recent_rejects(reader, most)

    def reject_counts(self) -> dict[str, int]:
        """Return how many messages were rejected, by reason, since the store was made."""
        with self._readers.snapshot() as reader:
            return reject_counts(reader)

    def pack(self, now_ms: int) -> int:
        """Pack what is closed and drop what is too old; return the rows handled."""
        return sum(self.pack_steps(now_ms))

    def pack_steps(self, now_ms: int) -> Iterator[int]:
        """Do what `pack` does in steps, for a caller that does other things between them."""
        with self._trouble(), self._packing:
            steps = self._packer.steps(now_ms)
            then = forget_old(self._locked, now_ms, self._raw_days, self._hourly_days)
            for rows in chain(steps, then):
                yield rows
                if self._closing:
                    return

    def checkpoint(self) -> None:
        """Move committed pages from the log to the file; see `LOG_PAGES_MOST`."""
        with self._trouble(), self._checkpointing:
            statement = "PRAGMA wal_checkpoint(PASSIVE)"
            _, pages, moved = self._checkpointer.execute(statement).fetchone()
            if pages > LOG_PAGES_MOST and moved < pages:
                with self._lock:
                    self._checkpointer.execute(statement)

    def backup_to(self, path: Path) -> None:
        """Write a consistent copy to *path*, while the store is in use."""
        with self._readers.snapshot() as reader:
            target = sqlite3.connect(path)
            try:
                reader.backup(target)
            finally:
                target.close()

    def size_bytes(self) -> int:
        """Return the bytes of the file and its log on disk."""
        log = self.path.with_name(self.path.name + "-wal")
        return self.path.stat().st_size + (log.stat().st_size if log.exists() else 0)

    def close(self) -> None:
        """Finish writing and let go of the files; a packing stops after its step."""
        self._closing = True
        with self._packing, self._checkpointing, self._lock:
            self._readers.close()
            self._checkpointer.close()
            self._hot.connection.close()

    @contextmanager
    def _locked(self) -> Iterator[HotTable]:
        with self._lock:
            yield self._hot

    @contextmanager
    def _trouble(self) -> Iterator[None]:
        """Say SQLite's errors as the store's own."""
        try:
            yield
        except sqlite3.Error as error:
            raise store_error(error, self.path) from error
