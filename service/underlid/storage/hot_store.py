"""A file into which readings go first: one fsynced commit a batch, reading beside it, nobody waits.

Both stores stand on it. `sqlite_readings.py` packs what is in it, in the same file; `influx/` sends
it on to a server and takes it out. What is common is here: the writing connection and its lock,
connections lent for reading, checkpoints, rejected messages, copies.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from underlid.readings.values import Reading, Rejected
from underlid.storage.fair_lock import FairLock
from underlid.storage.hot import HotTable
from underlid.storage.late import Late
from underlid.storage.layout import open_checkpointer, open_writer, transaction
from underlid.storage.readers import Readers
from underlid.storage.rejects import note_rejected, recent_rejects, reject_counts
from underlid.storage.seen import SeenProbes
from underlid.storage.trouble import store_error

LOG_PAGES_MOST: Final = 8192
"""Length of the log, 32 MB, beyond which a checkpoint holds writing up for the moment it needs to
catch up. Under a stream without pause a checkpoint never catches up by itself."""


class HotStore:
    """The file, opened for writing by this one process."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.late = Late()
        self._lock = FairLock()
        self._checkpointing = threading.Lock()
        self._ids_in_doubt = False
        with self.trouble():
            connection = open_writer(path)
            self.hot = HotTable(connection)
            self._checkpointer = open_checkpointer(path)
            self.readers = Readers(path)
            self.seen = SeenProbes(self.hot.probes)
            self.seen.load(connection)

    def write(
        self, readings: Sequence[Reading], rejected: Sequence[Rejected] = ()
    ) -> Sequence[Reading]:
        """Store all in one fsynced commit (see `protocols.ReadingStore.write`)."""
        if not readings and not rejected:
            return readings
        with self.trouble(), self._lock:
            if self._ids_in_doubt:
                self.hot.load_ids()
            self._ids_in_doubt = True
            with transaction(self.hot.connection):
                inserted = self.hot.insert(readings)
                note_rejected(self.hot.connection, [*rejected, *inserted.refused])
            self._ids_in_doubt = False
            self.late.note(inserted.rows.keys())
            self.seen.note(inserted.rows)
        return inserted.readings

    def recent_rejects(self, most: int = 100) -> list[Rejected]:
        """Return the newest rejected messages, newest first."""
        with self.readers.snapshot() as reader:
            return recent_rejects(reader, most)

    def reject_counts(self) -> dict[str, int]:
        """Return how many messages were rejected, by reason, since the store was made."""
        with self.readers.snapshot() as reader:
            return reject_counts(reader)

    def checkpoint(self) -> None:
        """Move committed pages from the log to the file; see `LOG_PAGES_MOST`."""
        with self.trouble(), self._checkpointing:
            statement = "PRAGMA wal_checkpoint(PASSIVE)"
            _, pages, moved = self._checkpointer.execute(statement).fetchone()
            if pages > LOG_PAGES_MOST and moved < pages:
                with self._lock:
                    self._checkpointer.execute(statement)

    def backup_to(self, path: Path) -> None:
        """Write a consistent copy to *path*, while the store is in use."""
        with self.readers.snapshot() as reader:
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
        """Let go of the file."""
        with self._checkpointing, self._lock:
            self.readers.close()
            self._checkpointer.close()
            self.hot.connection.close()

    @contextmanager
    def locked(self) -> Iterator[HotTable]:
        """Hold writing up and lend the writing connection: for a millisecond or two."""
        with self._lock:
            yield self.hot

    @contextmanager
    def trouble(self) -> Iterator[None]:
        """Say SQLite's errors as the store's own."""
        try:
            yield
        except sqlite3.Error as error:
            raise store_error(error, self.path) from error
