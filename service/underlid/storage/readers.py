"""Connections for reading, lent out: reading never holds writing up, whoever reads (WAL).

A pool and not one connection a thread, because web servers make and drop threads as they please.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from underlid.storage.layout import open_reader
from underlid.storage.trouble import store_error

IDLE_MOST: Final = 4
"""Connections kept open when nobody reads: 2 MB of cache each."""


class Readers:
    """Lends connections; each lending sees the store as of one moment."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._idle: list[sqlite3.Connection] = []
        self._lock = threading.Lock()
        self._closed = False

    @contextmanager
    def snapshot(self) -> Iterator[sqlite3.Connection]:
        """Lend a connection on which blocks and hot rows are of one moment, packing or not."""
        try:
            reader = self._take()
            try:
                reader.execute("BEGIN")
                yield reader
            finally:
                self._give_back(reader)
        except sqlite3.Error as error:
            raise store_error(error, self._path) from error

    def close(self) -> None:
        """Close what is idle; what is lent is closed when it comes back."""
        with self._lock:
            self._closed = True
            for reader in self._idle:
                reader.close()
            self._idle.clear()

    def _take(self) -> sqlite3.Connection:
        with self._lock:
            if self._idle:
                return self._idle.pop()
        return open_reader(self._path)

    def _give_back(self, reader: sqlite3.Connection) -> None:
        if reader.in_transaction:
            reader.execute("ROLLBACK")
        with self._lock:
            if not self._closed and len(self._idle) < IDLE_MOST:
                self._idle.append(reader)
                return
        reader.close()
