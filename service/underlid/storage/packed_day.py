"""One probe's day on its way to the disk: a block of raw rows, hourly sums, newest values.

`packing.py` decides when, `day_block.py` and `rollups.py` how the bytes look.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from underlid.storage.day_block import pack, unpack
from underlid.storage.protocols import RawSeries
from underlid.storage.rollups import Sums, from_blobs, hours_of, to_blob
from underlid.storage.seen import Newest, keep_newest_packed, newest_packed
from underlid.storage.series import merged


@dataclass(frozen=True, slots=True)
class PackedDay:
    """One probe's day, ready to be written."""

    probe: int
    day: int
    rows: int
    block: bytes | None
    """None when the day's raw rows are already forgotten."""
    hours: list[tuple[int, bytes]]
    """Id of the channel, sums."""
    last_received_ms: int
    newest: Newest

    def write(self, connection: sqlite3.Connection) -> None:
        """Write it inside the open transaction."""
        if self.block is not None:
            connection.execute(
                "INSERT OR REPLACE INTO packed_day VALUES (?, ?, ?, ?, ?)",
                (self.probe, self.day, self.rows, self.block, self.last_received_ms),
            )
        connection.executemany(
            "INSERT OR REPLACE INTO hourly VALUES (?, ?, ?, ?)",
            [(self.probe, channel, self.day, blob) for channel, blob in self.hours],
        )
        keep_newest_packed(connection, self.probe, self.newest)


def packed_day(reader: sqlite3.Connection, probe: int, day: int, fresh: RawSeries) -> PackedDay:
    """Return *fresh* rows packed with what the day's block holds so far.

    A day that has hours but no block was dropped for its age: fresh rows then only fill hours in
    which nothing was known, because nobody can tell any more whether they were counted.
    """
    row = reader.execute(
        "SELECT block FROM packed_day WHERE probe = ? AND day = ?", (probe, day)
    ).fetchone()
    kept = {} if row else kept_hours(reader, probe, day)
    whole = merged(unpack(row[0]), fresh) if row else fresh
    ids = dict(reader.execute("SELECT name, id FROM channel"))
    hours = hours_of(whole, day)
    for name, sums in kept.items():
        hours[name] = sums.or_else(hours[name]) if name in hours else sums
    newest = newest_packed(reader, probe)
    if newest is None:
        newest = Newest.of(fresh)
    else:
        newest.note_series(fresh)
    return PackedDay(
        probe=probe,
        day=day,
        rows=len(whole.taken_at_ms),
        block=None if kept else pack(whole),
        hours=[(ids[name], to_blob(sums)) for name, sums in hours.items()],
        last_received_ms=int(whole.received_at_ms.max()),
        newest=newest,
    )


def kept_hours(reader: sqlite3.Connection, probe: int, day: int) -> dict[str, Sums]:
    """Return the hourly sums that are kept of a day, by channel."""
    found = reader.execute(
        "SELECT name, sums FROM channel JOIN hourly ON channel = id WHERE probe = ? AND day = ?",
        (probe, day),
    )
    return {name: from_blobs([blob]) for name, blob in found}
