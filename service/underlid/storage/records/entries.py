"""The journal in the records: every version of every entry is kept, nothing is overwritten."""

from __future__ import annotations

from typing import Final

import sqlalchemy as sa

from underlid.errors import UnderlidError
from underlid.journal.entries import KIND_OF, KINDS, Entry, Moved, Sighting, What
from underlid.journal.standing import STANDS_MS
from underlid.storage.records.columns import packed, unpacked
from underlid.storage.records.database import Subject
from underlid.storage.records.setup import bump_revision, require_bin
from underlid.storage.records.tables import entry_keys, entry_versions

ENTRIES_MOST: Final = 10_000
"""The largest page that may be asked for; a caller that wants more pages on."""

KEY_MOST_CHARS: Final = 255

NOT_WEIGHED: Final = '"moisture_pct":null'
"""In a packed sighting; one that is packed otherwise is given too, and left by whoever asked."""


class EntryRecords(Subject):
    """Adds, corrects, withdraws and reads journal entries."""

    def add_entry(self, entry: Entry, idempotency_key: str = "") -> Entry:
        """Store a new entry; when *idempotency_key* was seen before, return what it stored then."""
        if len(idempotency_key) > KEY_MOST_CHARS:
            raise UnderlidError(
                "idempotency key",
                value=idempotency_key,
                expected=f"at most {KEY_MOST_CHARS} characters",
                next_step="Use a random identifier.",
            )
        with self._database.write() as connection:
            if idempotency_key and (earlier := _by_key(connection, idempotency_key)):
                return earlier
            if _newest(connection, entry.id) is not None:
                raise UnderlidError(
                    "entry id",
                    value=entry.id,
                    expected="an id that is not in the journal",
                    next_step="Correct the entry that is there, or choose another id.",
                )
            require_bin(connection, entry.bin)
            if idempotency_key:
                connection.execute(
                    sa.insert(entry_keys).values(key=idempotency_key, entry=entry.id)
                )
            return _insert(connection, entry, 1, withdrawn=False)

    def correct_entry(self, entry: Entry) -> Entry:
        """Store *entry* as the next version of the entry with the same id."""
        with self._database.write() as connection:
            before = require_entry(connection, entry.id)
            require_bin(connection, entry.bin)
            return _insert(connection, entry, before.version + 1, withdrawn=False)

    def withdraw_entry(self, entry_id: str, by: str, at_ms: int) -> Entry:
        """Withdraw an entry as a further version; withdrawing twice is withdrawing once."""
        with self._database.write() as connection:
            before = require_entry(connection, entry_id)
            if before.withdrawn:
                return before
            gone = Entry(before.id, before.bin, before.at_ms, at_ms, before.what, by, before.text)
            return _insert(connection, gone, before.version + 1, withdrawn=True)

    def entry(self, entry_id: str) -> Entry | None:
        """Return the newest version of one entry."""
        with self._database.read() as connection:
            return _newest(connection, entry_id)

    def entries(
        self,
        bin: str | None = None,
        from_ms: int | None = None,
        until_ms: int | None = None,
        withdrawn: bool = False,
        most: int = 200,
        before: str | None = None,
    ) -> list[Entry]:
        """Return newest versions with from_ms ≤ at_ms < until_ms, newest first.

        *before* is the id of the last entry of the page before this one.
        """
        table = entry_versions.c
        wanted = sa.select(entry_versions).where(table.newest.is_(True))
        if bin is not None:
            wanted = wanted.where(table.bin == bin)
        if from_ms is not None:
            wanted = wanted.where(table.at_ms >= from_ms)
        if until_ms is not None:
            wanted = wanted.where(table.at_ms < until_ms)
        if not withdrawn:
            wanted = wanted.where(table.withdrawn.is_(False))
        wanted = wanted.order_by(table.at_ms.desc(), table.id.desc())
        with self._database.read() as connection:
            if before is not None:
                last = require_entry(connection, before)
                wanted = wanted.where(
                    sa.or_(
                        table.at_ms < last.at_ms,
                        sa.and_(table.at_ms == last.at_ms, table.id < last.id),
                    )
                )
            rows = connection.execute(wanted.limit(max(0, min(most, ENTRIES_MOST)))).all()
        return [_entry(row) for row in rows]

    def entry_history(self, entry_id: str) -> list[Entry]:
        """Return every version of one entry, first to newest."""
        table = entry_versions.c
        wanted = sa.select(entry_versions).where(table.id == entry_id).order_by(table.version)
        with self._database.read() as connection:
            return [_entry(row) for row in connection.execute(wanted)]

    def all_entry_versions(self, bin_id: str, from_ms: int) -> list[Entry]:
        """Return all versions of the entries that, in any version, were the bin's since *from_ms*.

        And of those that stand, weighed samples and moves, from `STANDS_MS` before that.
        A version that was moved to another bin or to before *from_ms* is among them: whoever
        resolves versions must see it to know that the older one no longer stands.
        """
        table = entry_versions.c
        weighed = sa.and_(table.kind == KIND_OF[Sighting], ~table.what.contains(NOT_WEIGHED))
        standing = sa.and_(
            table.at_ms >= from_ms - STANDS_MS, sa.or_(weighed, table.kind == KIND_OF[Moved])
        )
        ids = sa.select(table.id).where(
            table.bin == bin_id, sa.or_(table.at_ms >= from_ms, standing)
        )
        wanted = (
            sa.select(entry_versions)
            .where(table.id.in_(ids))
            .order_by(table.at_ms, table.id, table.version)
        )
        with self._database.read() as connection:
            return [_entry(row) for row in connection.execute(wanted)]


def _insert(connection: sa.Connection, entry: Entry, version: int, *, withdrawn: bool) -> Entry:
    """Store one version and make it the newest."""
    connection.execute(
        sa.update(entry_versions)
        .where(entry_versions.c.id == entry.id, entry_versions.c.newest.is_(True))
        .values(newest=False)
    )
    stored = Entry(
        entry.id,
        entry.bin,
        entry.at_ms,
        entry.known_at_ms,
        entry.what,
        entry.by,
        entry.text,
        version,
        withdrawn,
    )
    connection.execute(
        sa.insert(entry_versions).values(
            id=stored.id,
            version=version,
            newest=True,
            bin=stored.bin,
            at_ms=stored.at_ms,
            known_at_ms=stored.known_at_ms,
            kind=stored.kind,
            what=packed(stored.what),
            by=stored.by,
            text=stored.text,
            withdrawn=withdrawn,
        )
    )
    bump_revision(connection)
    return stored


def _entry(row: sa.Row[tuple[object, ...]]) -> Entry:
    what: What = unpacked(row.what, KINDS[row.kind])
    return Entry(
        row.id,
        row.bin,
        row.at_ms,
        row.known_at_ms,
        what,
        row.by,
        row.text,
        row.version,
        row.withdrawn,
    )


def _newest(connection: sa.Connection, entry_id: str) -> Entry | None:
    table = entry_versions.c
    wanted = sa.select(entry_versions).where(table.id == entry_id, table.newest.is_(True))
    row = connection.execute(wanted).first()
    return None if row is None else _entry(row)


def require_entry(connection: sa.Connection, entry_id: str) -> Entry:
    """Return the newest version of an entry that must be there."""
    entry = _newest(connection, entry_id)
    if entry is None:
        raise UnderlidError(
            "entry id",
            value=entry_id,
            expected="the id of an entry in the journal",
            next_step="List the bin's entries to find it.",
        )
    return entry


def _by_key(connection: sa.Connection, key: str) -> Entry | None:
    """Return the entry, as it was stored, that came with this idempotency key."""
    wanted = (
        sa.select(entry_versions)
        .join(entry_keys, entry_keys.c.entry == entry_versions.c.id)
        .where(entry_keys.c.key == key, entry_versions.c.version == 1)
    )
    row = connection.execute(wanted).first()
    return None if row is None else _entry(row)
