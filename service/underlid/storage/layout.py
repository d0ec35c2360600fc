"""The tables of the readings file, and how the file is opened.

What the tables hold and why each pragma was chosen is on the storage page (`docs/storage.md`).
`hot.py` writes, `readers.py` lends out connections for reading.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from underlid.storage.trouble import StoreError, StoreVersionError

LAYOUT_VERSION: Final = 2
"""2 tells of each packed day when its newest reading came in, for whoever follows arrivals."""

APPLICATION_ID: Final = 0x554E4C44
"""Marks the file as Underlid's readings ("UNLD"), so that no other database is taken for one."""

BUSY_MS: Final = 10_000
"""How long another process, such as a copy made by hand, may hold the file's lock."""

WRITER_PRAGMAS: Final = (
    "page_size = 4096",
    "journal_mode = WAL",
    "synchronous = FULL",
    "wal_autocheckpoint = 0",
    "journal_size_limit = 67108864",
    "cache_size = -8192",
    f"busy_timeout = {BUSY_MS}",
)

READER_PRAGMAS: Final = ("query_only = ON", f"busy_timeout = {BUSY_MS}")

CHECKPOINTER_PRAGMAS: Final = (
    "synchronous = FULL",
    "wal_autocheckpoint = 0",
    f"busy_timeout = {BUSY_MS}",
)

LAYOUT: Final = f"""
BEGIN;
CREATE TABLE probe (
    id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, shed TEXT NOT NULL,
    newest_packed BLOB);
CREATE TABLE channel (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
CREATE TABLE hot (
    time INTEGER NOT NULL, probe INTEGER NOT NULL, delay_ms INTEGER NOT NULL,
    source INTEGER NOT NULL, PRIMARY KEY (time, probe)) WITHOUT ROWID;
CREATE TABLE numbered (
    probe INTEGER NOT NULL, seq INTEGER NOT NULL, digest INTEGER NOT NULL,
    received_at_ms INTEGER NOT NULL, PRIMARY KEY (probe, seq, digest)) WITHOUT ROWID;
CREATE TABLE packed_day (
    probe INTEGER NOT NULL, day INTEGER NOT NULL, rows INTEGER NOT NULL, block BLOB NOT NULL,
    last_received_ms INTEGER, PRIMARY KEY (probe, day));
CREATE INDEX packed_arrival ON packed_day (last_received_ms);
CREATE TABLE hourly (
    probe INTEGER NOT NULL, channel INTEGER NOT NULL, day INTEGER NOT NULL, sums BLOB NOT NULL,
    PRIMARY KEY (probe, channel, day)) WITHOUT ROWID;
CREATE TABLE rejected (
    id INTEGER PRIMARY KEY, received_at_ms INTEGER NOT NULL, reason TEXT NOT NULL,
    sentence TEXT NOT NULL, topic TEXT NOT NULL, payload BLOB NOT NULL);
CREATE TABLE reject_count (reason TEXT PRIMARY KEY, n INTEGER NOT NULL) WITHOUT ROWID;
PRAGMA application_id = {APPLICATION_ID};
PRAGMA user_version = {LAYOUT_VERSION};
COMMIT;
"""

FROM_VERSION_1: Final = f"""
BEGIN;
ALTER TABLE packed_day ADD COLUMN last_received_ms INTEGER;
CREATE INDEX packed_arrival ON packed_day (last_received_ms);
PRAGMA user_version = {LAYOUT_VERSION};
COMMIT;
"""
"""What was packed before keeps no time of arrival: nobody followed arrivals then."""


def open_writer(path: Path) -> sqlite3.Connection:
    """Open *path* for writing, making it if it is new; raises `StoreError` for a foreign file."""
    connection = _opened(path, WRITER_PRAGMAS)
    try:
        _check(connection, path)
    except BaseException:
        connection.close()
        raise
    return connection


def open_reader(path: Path) -> sqlite3.Connection:
    """Open *path* for reading; any thread may use it, one at a time."""
    return _opened(path, READER_PRAGMAS)


def open_checkpointer(path: Path) -> sqlite3.Connection:
    """Open *path* for moving the log into the file."""
    return _opened(path, CHECKPOINTER_PRAGMAS)


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Commit what is done inside, or roll it back whatever went wrong."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _opened(path: Path, pragmas: tuple[str, ...]) -> sqlite3.Connection:
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    try:
        for pragma in pragmas:
            connection.execute(f"PRAGMA {pragma}")
    except sqlite3.Error:
        connection.close()
        raise
    return connection


def _check(connection: sqlite3.Connection, path: Path) -> None:
    """Lay out a new file, bring an older one up to date; refuse a foreign and a newer one."""
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if not tables:
        connection.executescript(LAYOUT)
        return
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise StoreError(
            "the readings file",
            value=str(path),
            expected="a file that Underlid made",
            next_step="Name another file or folder; this one belongs to another program.",
        )
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if version == 1:
        connection.executescript(FROM_VERSION_1)
    if version > LAYOUT_VERSION:
        raise StoreVersionError(
            "the layout of the readings file",
            value=version,
            expected=f"{LAYOUT_VERSION} or older",
            next_step=f"Start the newer Underlid that wrote {path.name}, or restore a backup.",
        )
