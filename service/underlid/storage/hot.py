"""The hot table: one wide row per instant and probe, where every reading lands first.

`HotTable` owns the writing connection and makes the upserts. It knows nothing of packed days
(`packing.py`) or of reading back (`hot_rows.py`); the tables are in `layout.py`, the probes' ids in
`probes.py`, resends without a time of their own in `resends.py`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import msgspec

from underlid.readings.values import RawMessage, Reading, Rejected, RejectReason, TimeSource
from underlid.storage.probes import Probes
from underlid.storage.resends import Resends

CHANNELS_MOST: Final = 200
"""Channel names in one store, each a column of the hot table: a farm uses a few dozen. A name
beyond it is refused with a reason, and the other channels of its reading are stored."""

BUSY_SPANS_MOST: Final = 10_000
"""Remembered stretches of milliseconds that are taken; forgetting them costs time only."""

_DEVICE: Final = TimeSource.DEVICE


class Row(NamedTuple):
    """What is stored at one time and probe."""

    values: dict[str, float]
    delay_ms: int
    """Received minus taken."""
    source: TimeSource


Key = tuple[int, int]
"""Time in milliseconds, id of the probe: the key of the hot table, in this order."""


@dataclass(frozen=True, slots=True)
class Inserted:
    """What one batch put into the table."""

    rows: dict[Key, Row]
    readings: Sequence[Reading]
    """The batch itself, or without resends and with moved times where there were any."""
    refused: list[Rejected]


class HotTable:
    """Writes readings; used by one thread at a time (`HotStore` holds the lock)."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.connection = connection
        self.probes = Probes(connection)
        self.channels: dict[str, int] = {}
        self._resends = Resends(connection)
        self.load_ids()

    def load_ids(self) -> None:
        """Read the ids that are on disk; after a rollback those in memory may be ahead."""
        self.probes.load()
        self.channels = dict(self.connection.execute("SELECT name, id FROM channel"))
        self._upserts: dict[tuple[str, ...], str] = {}
        self._busy: dict[tuple[int, tuple[str, ...]], tuple[int, int]] = {}
        self._resends.load()

    def insert(self, readings: Sequence[Reading]) -> Inserted:
        """Store *readings* inside the open transaction.

        Readings of one time and probe are merged first, in their order; then the rows of one
        statement shape go in together.
        """
        rows: dict[Key, Row] = {}
        changed: dict[int, Reading | None] = {}
        refused: list[Rejected] = []
        for index, one in enumerate(readings):
            probe = self.probes.number_of(one)
            at_ms = one.taken_at_ms
            if one.seq is not None and self._resends.known(probe, one):
                changed[index] = None
                continue
            if one.time_source is not _DEVICE:
                at_ms = self._free_ms(probe, one, rows)
                if at_ms != one.taken_at_ms:
                    changed[index] = msgspec.structs.replace(one, taken_at_ms=at_ms)
            values = one.values
            if not self.channels.keys() >= values.keys():
                values = self._with_room(one, refused)
                if not values:
                    continue
            row = Row(values, one.received_at_ms - at_ms, one.time_source)
            held = rows.get((at_ms, probe))
            rows[at_ms, probe] = row if held is None else merged_row(held, row)
        self._upsert_all(rows)
        return Inserted(rows, _as_stored(readings, changed), refused)

    def _free_ms(self, probe: int, one: Reading, rows: dict[Key, Row]) -> int:
        """Return the first millisecond from the reading's on at which it overwrites nothing.

        A probe without a clock that empties its queue sends many readings in one millisecond.
        """
        names = tuple(one.values)
        at_ms = one.taken_at_ms
        first, end = self._busy.get((probe, names), (0, 0))
        if first <= at_ms < end:
            at_ms = end
        else:
            first = at_ms
        while self._taken(at_ms, probe, names, rows):
            at_ms += 1
        if at_ms != first:
            if len(self._busy) >= BUSY_SPANS_MOST:
                self._busy.clear()
            self._busy[probe, names] = (first, at_ms)
        return at_ms

    def _taken(self, at_ms: int, probe: int, names: tuple[str, ...], rows: dict[Key, Row]) -> bool:
        held = rows.get((at_ms, probe))
        if held is not None and not held.values.keys().isdisjoint(names):
            return True
        said = [f"c{self.channels[name]} IS NOT NULL" for name in names if name in self.channels]
        if not said:
            return False
        found = self.connection.execute(
            f"SELECT 1 FROM hot WHERE time = ? AND probe = ? AND ({' OR '.join(said)})",
            (at_ms, probe),
        ).fetchall()
        return bool(found)

    def _with_room(self, one: Reading, refused: list[Rejected]) -> dict[str, float]:
        """Add columns for new channels; leave out those that find no room."""
        kept: dict[str, float] = {}
        for name, value in one.values.items():
            if name in self.channels or self._add_channel(name):
                kept[name] = value
            else:
                refused.append(no_room(one, name, value))
        return kept

    def _add_channel(self, name: str) -> bool:
        if len(self.channels) >= CHANNELS_MOST:
            return False
        cursor = self.connection.execute("INSERT INTO channel (name) VALUES (?)", (name,))
        number = int(cursor.lastrowid or 0)
        self.connection.execute(f"ALTER TABLE hot ADD COLUMN c{number} REAL")
        self.channels[name] = number
        return True

    def _upsert_all(self, rows: dict[Key, Row]) -> None:
        by_shape: dict[tuple[str, ...], list[tuple[float, ...]]] = {}
        for (time, probe), (values, delay_ms, source) in rows.items():
            by_shape.setdefault(tuple(values), []).append(
                (time, probe, delay_ms, source, *values.values())
            )
        for names, shaped in by_shape.items():
            self.connection.executemany(self._upsert(names), shaped)

    def _upsert(self, names: tuple[str, ...]) -> str:
        """Return the statement that merges these channels into a row (see `merged_row`)."""
        statement = self._upserts.get(names)
        if statement is None:
            columns = [f"c{self.channels[name]}" for name in names]
            sets = [f"{column} = excluded.{column}" for column in columns]
            statement = (
                f"INSERT INTO hot ({', '.join(['time', 'probe', 'delay_ms', 'source', *columns])})"
                f" VALUES ({', '.join('?' * (4 + len(columns)))}) ON CONFLICT DO UPDATE SET "
                + ", ".join(sets)
                + f", delay_ms = CASE WHEN {' AND '.join(f'{one} IS NOT NULL' for one in columns)}"
                " THEN min(delay_ms, excluded.delay_ms) ELSE max(delay_ms, excluded.delay_ms) END"
                ", source = min(source, excluded.source)"
            )
            self._upserts[names] = statement
        return statement


def merged_row(held: Row, new: Row) -> Row:
    """Return both as one row; newer values stand.

    A row that gains a channel was complete only when that came; one that is merely said again was
    there before.
    """
    again = held.values.keys() >= new.values.keys()
    delay_ms = (min if again else max)(held.delay_ms, new.delay_ms)
    return Row({**held.values, **new.values}, delay_ms, min(held.source, new.source))


def _as_stored(
    readings: Sequence[Reading], changed: dict[int, Reading | None]
) -> Sequence[Reading]:
    """Return the batch without resends and with moved times; itself where nothing changed."""
    if not changed:
        return readings
    stored = (changed.get(index, one) for index, one in enumerate(readings))
    return [one for one in stored if one is not None]


def no_room(one: Reading, name: str, value: float) -> Rejected:
    """Return the rejection of a channel that came after the last free column."""
    return Rejected(
        RejectReason.BAD_CHANNEL,
        f"channel is {name!r}, expected one of the {CHANNELS_MOST} channel names already in use."
        " Name channels alike on all probes.",
        RawMessage(
            f"underlid/v1/{one.shed}/{one.probe}/value/{name}",
            str(value).encode(),
            one.received_at_ms,
        ),
    )
