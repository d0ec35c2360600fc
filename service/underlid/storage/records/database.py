"""Opens the database of records and hands out its transactions.

One write transaction at a time in this process; SQLite with WAL, foreign keys and
`synchronous=FULL`, so that what a call has returned survives a power cut. The tables are in
`tables.py`, their history in `migrations/`.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

from underlid.errors import UnderlidError
from underlid.storage.records.migrate import migrate

BUSY_TIMEOUT_MS: Final = 30_000
"""How long a write waits for one of another process (a command beside the service)."""

POOL_SIZE: Final = 8
POOL_OVERFLOW: Final = 32
"""Connections at once: as many as the threads that serve the page, and then some."""

_READING: Final = "underlid_reading"


class Database:
    """An open database, migrated to this version's tables."""

    def __init__(self, url: str) -> None:
        self._engine = _engine(url)
        self._reader = self._engine.execution_options(**{_READING: True})
        self._write_lock = threading.RLock()
        try:
            with self.write() as connection:
                migrate(connection)
        except SQLAlchemyError as error:
            self._engine.dispose()
            raise _cannot_open(self._engine.url, error) from None
        except UnderlidError:
            self._engine.dispose()
            raise

    @contextmanager
    def write(self) -> Iterator[sa.Connection]:
        """Give a transaction that commits at the end of the block, or not at all."""
        with self._write_lock, self._engine.begin() as connection:
            yield connection

    @contextmanager
    def read(self) -> Iterator[sa.Connection]:
        """Give a transaction that sees one moment and holds nobody up."""
        with self._reader.connect() as connection:
            yield connection

    def close(self) -> None:
        """Let go of all connections."""
        self._engine.dispose()


class Subject:
    """The part of the records that deals with one subject; `Records` puts them together."""

    def __init__(self, database: Database) -> None:
        self._database = database


def _engine(url: str) -> sa.Engine:
    """Return an engine for *url* that begins transactions as this file promises."""
    try:
        parsed = sa.make_url(url)
        engine = sa.create_engine(
            parsed, pool_size=POOL_SIZE, max_overflow=POOL_OVERFLOW, pool_pre_ping=True
        )
    except (SQLAlchemyError, ImportError, TypeError) as error:
        raise _cannot_open(None, error) from None
    if parsed.get_backend_name() == "sqlite":
        sa.event.listen(engine, "connect", _prepare_sqlite)
        sa.event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _record: object) -> None:
    """Set a new SQLite connection up; the driver must not begin transactions by itself."""
    connection.isolation_level = None
    for pragma in (
        f"busy_timeout = {BUSY_TIMEOUT_MS}",
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
    ):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin_sqlite(connection: sa.Connection) -> None:
    """Take the write lock at the start of a writing transaction, never half-way through it."""
    reading = connection.get_execution_options().get(_READING, False)
    connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")


def _cannot_open(url: sa.URL | None, error: Exception) -> UnderlidError:
    """Return the refusal of a database that does not open; a password is not shown."""
    reason = str(getattr(error, "orig", None) or type(error).__name__)
    return UnderlidError(
        "database of records",
        value="(not an address)" if url is None else url.render_as_string(hide_password=True),
        expected=f"one that opens, but: {reason}",
        next_step="Check the address, the folder's permissions and the free space.",
    )
