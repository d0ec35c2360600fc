"""The embedded store of readings: one SQLite file, hot rows and packed days behind one door.

`hot_store.py` has the file and the writing, `packing.py` the packing, `reading_back.py` the reading,
and the storage page (`docs/storage.md`) the reasons for the pragmas.
"""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterator, Sequence
from itertools import chain
from pathlib import Path

from underlid.readings.values import Reading, Rejected
from underlid.storage.arrival_rows import arrived_rows
from underlid.storage.hot_rows import read_hot
from underlid.storage.hot_store import HotStore
from underlid.storage.packing import Packer
from underlid.storage.protocols import (
    NO_BACKLOG,
    Backlog,
    Buckets,
    ProbeSeen,
    RawSeries,
    RefusedRow,
)
from underlid.storage.reading_back import bucket_sums, read_raw
from underlid.storage.retention import forget_old
from underlid.storage.rollups import bucket_starts, buckets_of
from underlid.storage.series import NOTHING


class SqliteReadings:
    """Implements `protocols.ReadingStore` on one file."""

    def __init__(self, path: Path, raw_days: int = 400, hourly_days: int = 3650) -> None:
        self.path = path
        self._raw_days = raw_days
        self._hourly_days = hourly_days
        self._packing = threading.Lock()
        self._closing = False
        self._store = HotStore(path)
        self._hot = self._store.hot
        self._readers = self._store.readers
        self._packer = Packer(self._store.locked, self._readers.snapshot, self._store.late)

    def write(
        self, readings: Sequence[Reading], rejected: Sequence[Rejected] = ()
    ) -> Sequence[Reading]:
        """Store all in one fsynced commit (see `protocols.ReadingStore.write`)."""
        return self._store.write(readings, rejected)

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
        return self._store.seen.get(probe)

    def probes_seen(self, *, sure: bool = False) -> list[ProbeSeen]:  # noqa: ARG002
        """Return every probe that ever sent a reading, by name."""
        return self._store.seen.all()

    def recent_rejects(self, most: int = 100) -> list[Rejected]:
        """Return the newest rejected messages, newest first."""
        return self._store.recent_rejects(most)

    def reject_counts(self) -> dict[str, int]:
        """Return how many messages were rejected, by reason, since the store was made."""
        return self._store.reject_counts()

    def backlog(self) -> Backlog:
        """Return that nothing waits: this store sends nothing on."""
        return NO_BACKLOG

    def refused_rows(self, most: int = 100) -> list[RefusedRow]:  # noqa: ARG002
        """Return no rows: there is no server that refuses any."""
        return []

    def retry_refused(self) -> int:
        """Return that there was nothing to try again."""
        return 0

    def pack(self, now_ms: int) -> int:
        """Pack what is closed and drop what is too old; return the rows handled."""
        return sum(self.pack_steps(now_ms))

    def pack_steps(self, now_ms: int) -> Iterator[int]:
        """Do what `pack` does in steps, for a caller that does other things between them."""
        with self._store.trouble(), self._packing:
            steps = self._packer.steps(now_ms)
            then = forget_old(self._store.locked, now_ms, self._raw_days, self._hourly_days)
            for rows in chain(steps, then):
                yield rows
                if self._closing:
                    return

    def checkpoint(self) -> None:
        """Move committed pages from the log to the file."""
        self._store.checkpoint()

    def backup_to(self, path: Path) -> None:
        """Write a consistent copy to *path*, while the store is in use."""
        self._store.backup_to(path)

    def size_bytes(self) -> int:
        """Return the bytes of the file and its log on disk."""
        return self._store.size_bytes()

    def close(self) -> None:
        """Finish writing and let go of the files; a packing stops after its step."""
        self._closing = True
        with self._packing:
            self._store.close()
