"""Opens the database of records and hands out its transactions.

One write transaction at a time, in all processes: SQLite's own lock sees to that, and an advisory
lock of the transaction in PostgreSQL. So "look, then write" means the same on both. What comes often
and from several workers (`alone=False`) goes without it and locks its own rows. What a call has
returned survives a power cut: SQLite with WAL and `synchronous=FULL`, PostgreSQL by its default. The
tables are in `tables.py`, their history in `migrations/`.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.exc import DataError, SQLAlchemyError

from underlid.errors import UnderlidError
from underlid.storage.records.migrate import migrate

BUSY_TIMEOUT_MS: Final = 30_000
"""How long a write waits for one of another process (a command beside the service)."""

POOL_SIZE: Final = 8
POOL_OVERFLOW: Final = 32
"""Connections at once: as many as the threads that serve the page, and then some."""

SHARED_POOL_SIZE: Final = 4
SHARED_POOL_OVERFLOW: Final = 8
"""With PostgreSQL, whose connections all workers share: a hundred of them by default."""

CONNECT_TIMEOUT_S: Final = 10
WRITERS_LOCK: Final = 0x756E6465726C6964
"""Number of PostgreSQL's advisory lock for writers: "underlid" in ASCII."""

_READING: Final = "underlid_reading"


class Database:
    """An open database, migrated to this version's tables."""

    def __init__(self, url: str) -> None:
        self._engine = _engine(url)
        self._reader = self._engine.execution_options(**_reading_options(self._engine))
        self._write_lock = threading.RLock()
        self.shared = self._engine.dialect.name == "postgresql"
        """Tells whether several processes work on it at the same time."""
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
    def write(self, *, alone: bool = True) -> Iterator[sa.Connection]:
        """Give a transaction that commits at the end of the block, or not at all.

        With *alone* false others may write at the same time, where the database allows it.
        """
        turn = nullcontext() if self.shared and not alone else self._write_lock
        with turn, _refusals(), self._engine.begin() as connection:
            if self.shared and alone:
                connection.execute(sa.select(sa.func.pg_advisory_xact_lock(WRITERS_LOCK)))
            yield connection

    @contextmanager
    def read(self) -> Iterator[sa.Connection]:
        """Give a transaction that sees one moment and holds nobody up."""
        with _refusals(), self._reader.connect() as connection:
            yield connection

    def close(self) -> None:
        """Let go of all connections."""
        self._engine.dispose()


class Subject:
    """The part of the records that deals with one subject; `Records` puts them together."""

    def __init__(self, database: Database) -> None:
        self._database = database


@contextmanager
def _refusals() -> Iterator[None]:
    """Say in words what the database cannot keep or look for: trying again would not help.

    PostgreSQL knows no text with a zero in it; SQLite does. Both know no number of more than 64 bits.
    """
    try:
        yield
    except (DataError, OverflowError) as error:
        raise UnderlidError(
            "a value",
            value=str(getattr(error, "orig", error)).partition("\n")[0],
            expected="text without unprintable characters, and numbers of a sensible size",
            next_step="Correct what was sent.",
        ) from None


def _engine(url: str) -> sa.Engine:
    """Return an engine for *url* that begins transactions as this file promises."""
    try:
        parsed = sa.make_url(url)
        if parsed.drivername in ("postgresql", "postgres"):
            parsed = parsed.set(drivername="postgresql+psycopg")
        shared = parsed.get_backend_name() == "postgresql"
        engine = sa.create_engine(
            parsed,
            pool_size=SHARED_POOL_SIZE if shared else POOL_SIZE,
            max_overflow=SHARED_POOL_OVERFLOW if shared else POOL_OVERFLOW,
            pool_pre_ping=True,
            hide_parameters=True,  # an error goes to the log: no addresses and hashes with it
            connect_args=_postgresql_arguments(parsed) if shared else {},
        )
    except ModuleNotFoundError as error:
        raise _driver_missing(error) from None
    except (SQLAlchemyError, ImportError, TypeError) as error:
        raise _cannot_open(None, error) from None
    if parsed.get_backend_name() == "sqlite":
        sa.event.listen(engine, "connect", _prepare_sqlite)
        sa.event.listen(engine, "begin", _begin_sqlite)
    return engine


def _reading_options(engine: sa.Engine) -> dict[str, Any]:
    """Return what makes a transaction one that reads a single moment."""
    if engine.dialect.name == "postgresql":
        return {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
    return {_READING: True}


def _postgresql_arguments(url: sa.URL) -> dict[str, Any]:
    """Return how to connect: in UTF-8, and not waiting for ever for a machine that is gone."""
    wanted = {
        "connect_timeout": CONNECT_TIMEOUT_S,
        "application_name": "underlid",
        "client_encoding": "utf8",
        "keepalives_idle": 30,
        "keepalives_interval": 10,
        "keepalives_count": 3,
        "tcp_user_timeout": 30_000,
    }
    return {name: value for name, value in wanted.items() if name not in url.query}


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


def _driver_missing(error: ModuleNotFoundError) -> UnderlidError:
    return UnderlidError(
        "database of records",
        value="(an address)",
        expected=f"a database whose driver is installed (there is no module {error.name})",
        next_step="Install it with: pip install 'underlid[postgresql]'.",
    )


def _cannot_open(url: sa.URL | None, error: Exception) -> UnderlidError:
    """Return the refusal of a database that does not open; a password is not shown."""
    reason = str(getattr(error, "orig", None) or type(error).__name__)
    return UnderlidError(
        "database of records",
        value="(not an address)" if url is None else url.render_as_string(hide_password=True),
        expected=f"one that opens, but: {reason}",
        next_step="Check the address, the folder's permissions and the free space.",
    )
