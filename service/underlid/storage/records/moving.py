"""All records from one database to another: set-up, journal, photos, alerts, outbox, people, secrets.

One transaction of the target holds all of it: it is there whole and equal, or not at all. Nothing is
taken out of the source. What processes note of themselves stays behind. `underlid move-records` drives
this; `storage.moving` does it for readings.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

import sqlalchemy as sa

from underlid.errors import UnderlidError, Words
from underlid.storage.records.database import Database
from underlid.storage.records.leases import database_now_ms
from underlid.storage.records.table_columns import metadata
from underlid.storage.records.tables import leases, revisions, workers

OF_PROCESSES: Final = (leases, workers)
"""Who judges and serves what at the moment: of no use to those that start elsewhere."""

ROWS_AT_ONCE: Final = 100
"""A photo's row may take half a megabyte."""

CHECKSUM_BITS: Final = 256


@dataclass(frozen=True, slots=True)
class MovedTable:
    """One table: how many rows there are in both databases, and a checksum over all their values."""

    table: str
    rows: int
    checksum: str


def moved_tables() -> list[sa.Table]:
    """Return the tables that are moved, those that others refer to first."""
    return [table for table in metadata.sorted_tables if table not in OF_PROCESSES]


def row_count(database: Database) -> int:
    """Return how many rows there are to move."""
    with database.read() as connection:
        return sum(_count(connection, table) for table in moved_tables())


def move_records(
    source: Database, target: Database, reach: Callable[[int], None] = lambda _: None
) -> list[MovedTable]:
    """Copy everything and compare; *reach* is told how many rows are there."""
    done = 0
    with source.read() as ours, target.write() as theirs:
        _require_idle(ours)
        _require_idle(theirs)
        _require_unused(theirs)
        moved = []
        for table in moved_tables():
            theirs.execute(sa.delete(table))
            for rows in _chunks(ours, table):
                theirs.execute(sa.insert(table), [dict(row._mapping) for row in rows])
                done += len(rows)
                reach(done)
            expected, found = (_summed(connection, table) for connection in (ours, theirs))
            if found != expected:
                raise _unequal(expected, found)
            moved.append(expected)
            _count_on(theirs, table)
    return moved


def _require_idle(connection: sa.Connection) -> None:
    """Refuse a database that other machines work on: what they write meanwhile would stay behind."""
    held = leases.c.until_ms > database_now_ms(connection)
    wanted = sa.select(leases.c.holder).where(held).distinct().order_by(leases.c.holder)
    if busy := connection.execute(wanted).scalars().all():
        raise UnderlidError(
            "one of the two databases",
            value=Words(f"in use by {', '.join(busy)}"),
            expected="databases that no running service uses",
            next_step="Stop it; after one was killed, wait until its lease has run out.",
        )


def _require_unused(connection: sa.Connection) -> None:
    """Refuse a database in which somebody has kept something: nothing of it may be lost."""
    for table in moved_tables():
        if table is not revisions and (count := _count(connection, table)):
            raise UnderlidError(
                f"table {table.name} of the database that records go to",
                value=Words(f"{count} rows long"),
                expected="an empty one: records are moved whole, into a database that nobody has used",
                next_step="Name another database, or make this one anew.",
            )


def _count(connection: sa.Connection, table: sa.Table) -> int:
    return connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()


def _chunks(
    connection: sa.Connection, table: sa.Table
) -> Iterator[list[sa.Row[tuple[object, ...]]]]:
    wanted = sa.select(table).order_by(*table.primary_key.columns)
    with connection.execute(wanted.execution_options(yield_per=ROWS_AT_ONCE)) as result:
        for rows in result.partitions():
            yield list(rows)


def _summed(connection: sa.Connection, table: sa.Table) -> MovedTable:
    """Return count and checksum of a table, whatever the order of its rows: texts sort differently."""
    count = total = 0
    for rows in _chunks(connection, table):
        for row in rows:
            digest = hashlib.sha256(repr(tuple(row)).encode("utf-8", "surrogatepass")).digest()
            total += int.from_bytes(digest)
            count += 1
    return MovedTable(table.name, count, f"{total % 2**CHECKSUM_BITS:064x}")


def _count_on(connection: sa.Connection, table: sa.Table) -> None:
    """Let PostgreSQL number further rows after those that came; SQLite does so by itself."""
    (key, *more) = table.primary_key.columns
    if connection.dialect.name != "postgresql" or more or key.autoincrement is not True:
        return
    newest = sa.select(sa.func.max(key)).scalar_subquery()
    sequence = sa.func.pg_get_serial_sequence(table.name, key.name)
    connection.execute(sa.select(sa.func.setval(sequence, newest)).where(newest.is_not(None)))


def _unequal(expected: MovedTable, found: MovedTable) -> UnderlidError:
    return UnderlidError(
        f"table {expected.table} after moving",
        value=Words(f"{found.rows} rows long, with other values"),
        expected=f"{expected.rows} rows, each as it was",
        next_step="Nothing was moved. See what the other database changes, and move again.",
    )
