"""The hot table: one wide row per instant and probe, where every reading lands first.

`HotTable` owns the writing connection: layout, durable ids of probes and channels, the upsert. It
knows nothing of packed days (`packing.py`) or of reading back (`sqlite_readings.py`).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

from underlid.readings.values import RawMessage, Reading, Rejected, RejectReason, TimeSource
from underlid.storage.trouble import StoreVersionError

LAYOUT_VERSION: Final = 1

CHANNELS_MOST: Final = 500
"""Columns of the hot table. SQLite allows 2000; a farm uses a few dozen channel names. A name
beyond it is refused with a reason, and the other channels of its reading are stored."""

REJECTS_KEPT: Final = 500
"""Newest rejected messages kept for looking at."""

PAYLOAD_KEPT_BYTES: Final = 2048
"""Bytes of a rejected payload kept: enough to see what the probe meant."""

LAYOUT: Final = """
CREATE TABLE probe (
    id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, shed TEXT NOT NULL,
    first_taken_at_ms INTEGER NOT NULL);
CREATE TABLE channel (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
CREATE TABLE hot (
    time INTEGER NOT NULL, probe INTEGER NOT NULL, delay_ms INTEGER NOT NULL,
    PRIMARY KEY (time, probe)) WITHOUT ROWID;
CREATE TABLE numbered (
    probe INTEGER NOT NULL, seq INTEGER NOT NULL, received_at_ms INTEGER NOT NULL,
    PRIMARY KEY (probe, seq)) WITHOUT ROWID;
CREATE TABLE packed_day (
    probe INTEGER NOT NULL, day INTEGER NOT NULL, rows INTEGER NOT NULL, block BLOB NOT NULL,
    PRIMARY KEY (probe, day));
CREATE TABLE hourly (
    probe INTEGER NOT NULL, channel INTEGER NOT NULL, day INTEGER NOT NULL, sums BLOB NOT NULL,
    PRIMARY KEY (probe, channel, day)) WITHOUT ROWID;
CREATE TABLE rejected (
    id INTEGER PRIMARY KEY, received_at_ms INTEGER NOT NULL, reason TEXT NOT NULL,
    sentence TEXT NOT NULL, topic TEXT NOT NULL, payload BLOB NOT NULL);
CREATE TABLE reject_count (reason TEXT PRIMARY KEY, n INTEGER NOT NULL) WITHOUT ROWID;
"""


def connect(path: Path) -> sqlite3.Connection:
    """Open *path* for writing, with the layout in place and the pragmas of the storage page."""
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    for pragma in (
        "page_size = 8192",
        "journal_mode = WAL",
        "synchronous = FULL",
        "wal_autocheckpoint = 0",
        "cache_size = -8192",
        "temp_store = MEMORY",
        "busy_timeout = 10000",
    ):
        connection.execute(f"PRAGMA {pragma}")
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if version > LAYOUT_VERSION:
        connection.close()
        raise StoreVersionError(
            "the layout of the readings file",
            value=version,
            expected=f"{LAYOUT_VERSION} or older",
            next_step=f"Start the newer Underlid that wrote {path.name}, or restore a backup.",
        )
    if version == 0:
        connection.executescript(f"BEGIN;{LAYOUT}PRAGMA user_version = {LAYOUT_VERSION};COMMIT;")
    return connection


class HotTable:
    """Writes readings; used by one thread at a time (`SqliteReadings` holds the lock)."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.connection = connection
        self.probes: dict[str, int] = {}
        self.channels: dict[str, int] = {}
        self._upserts: dict[tuple[str, ...], str] = {}
        self.load_ids()

    def load_ids(self) -> None:
        """Read the ids that are on disk; after a rollback those in memory may be ahead."""
        self.probes = dict(self.connection.execute("SELECT name, id FROM probe"))
        self.channels = dict(self.connection.execute("SELECT name, id FROM channel"))

    def insert(self, readings: Sequence[Reading]) -> list[Rejected]:
        """Store *readings* inside the open transaction; return what had no room.

        Readings of one time and probe are merged first, in their order; then the rows of one
        statement shape go in together.
        """
        merged: dict[tuple[int, int], tuple[dict[str, float], Reading]] = {}
        probes = self.probes
        for one in readings:
            if one.seq is not None and self._seen_before(one):
                continue
            key = (one.taken_at_ms, probes.get(one.probe) or self._new_probe(one))
            before = merged.get(key)
            merged[key] = ({**before[0], **one.values} if before else one.values, one)
        by_shape: dict[tuple[str, ...], list[tuple[float, ...]]] = {}
        refused: list[Rejected] = []
        known = self.channels.keys()
        for (time, probe), (given, one) in merged.items():
            values = given if known >= given.keys() else self._with_room(given, one, refused)
            by_shape.setdefault(tuple(values), []).append(
                (time, probe, one.received_at_ms - time, *values.values())
            )
        for names, rows in by_shape.items():
            self.connection.executemany(self._upsert(names), rows)
        return refused

    def note_rejected(self, rejected: Iterable[Rejected]) -> None:
        """Count rejections by reason and keep the newest, inside the open transaction."""
        rows = [
            (
                one.message.received_at_ms,
                one.reason.value,
                one.sentence,
                one.message.topic.encode(errors="backslashreplace").decode()[:256],
                one.message.payload[:PAYLOAD_KEPT_BYTES],
            )
            for one in rejected
        ]
        if not rows:
            return
        self.connection.executemany(
            "INSERT INTO rejected (received_at_ms, reason, sentence, topic, payload)"
            " VALUES (?, ?, ?, ?, ?)",
            rows,
        )
        self.connection.executemany(
            "INSERT INTO reject_count VALUES (?, 1) ON CONFLICT DO UPDATE SET n = n + 1",
            [(row[1],) for row in rows],
        )
        self.connection.execute(
            "DELETE FROM rejected WHERE id <= (SELECT max(id) FROM rejected) - ?", (REJECTS_KEPT,)
        )

    def _seen_before(self, one: Reading) -> bool:
        """Tell whether a reading without a time of its own is a resend of a stored one.

        A message's readings share its number and the moment it was received, so a number known from
        another moment is a resend.
        """
        if one.time_source is TimeSource.DEVICE:
            return False
        probe = self.probes.get(one.probe) or self._new_probe(one)
        row = self.connection.execute(
            "INSERT INTO numbered VALUES (?, ?, ?)"
            " ON CONFLICT DO UPDATE SET received_at_ms = received_at_ms RETURNING received_at_ms",
            (probe, one.seq, one.received_at_ms),
        ).fetchone()
        return bool(row[0] != one.received_at_ms)

    def _new_probe(self, one: Reading) -> int:
        """Give a probe its id, in the transaction that holds its first reading."""
        cursor = self.connection.execute(
            "INSERT INTO probe (name, shed, first_taken_at_ms) VALUES (?, ?, ?)",
            (one.probe, one.shed, one.taken_at_ms),
        )
        self.probes[one.probe] = number = int(cursor.lastrowid or 0)
        return number

    def _with_room(
        self, values: dict[str, float], one: Reading, refused: list[Rejected]
    ) -> dict[str, float]:
        """Add columns for new channels; leave out those that find no room."""
        kept: dict[str, float] = {}
        for name, value in values.items():
            if name in self.channels or len(self.channels) < CHANNELS_MOST:
                self._add_channel(name)
                kept[name] = value
            else:
                refused.append(no_room(one, name, value))
        return kept

    def _add_channel(self, name: str) -> None:
        if name in self.channels:
            return
        cursor = self.connection.execute("INSERT INTO channel (name) VALUES (?)", (name,))
        number = int(cursor.lastrowid or 0)
        self.connection.execute(f"ALTER TABLE hot ADD COLUMN c{number} REAL")
        self.channels[name] = number

    def _upsert(self, names: tuple[str, ...]) -> str:
        """Return the statement that merges these channels into a row, made once per shape."""
        statement = self._upserts.get(names)
        if statement is None:
            columns = [f"c{self.channels[name]}" for name in names]
            sets = [f"{column} = excluded.{column}" for column in columns]
            statement = (
                f"INSERT INTO hot ({', '.join(['time', 'probe', 'delay_ms', *columns])})"
                f" VALUES ({', '.join('?' * (3 + len(columns)))}) ON CONFLICT DO UPDATE SET "
                + ", ".join([*sets, "delay_ms = min(delay_ms, excluded.delay_ms)"])
            )
            self._upserts[names] = statement
        return statement


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
