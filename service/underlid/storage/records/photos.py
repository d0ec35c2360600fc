"""Photos of journal entries in the records: every version, and the pictures themselves.

Pictures lie in a table of their own, so that a list never reads them. In the database, and not in
files beside it, so that one backup has all and every worker can show them (decision 10).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import sqlalchemy as sa

from underlid.errors import UnderlidError, Words
from underlid.journal.photos import EntryPhoto, PhotoState, PictureSize, PreparedPhoto
from underlid.storage.records.database import Subject
from underlid.storage.records.entries import require_entry
from underlid.storage.records.photo_tables import photo_pictures, photo_versions
from underlid.storage.records.setup import bump_revision

PHOTOS_OF_ENTRY_MOST: Final = 12
"""Shown with one entry (our judgement: more is an album)."""

ASKED_AT_ONCE: Final = 5_000
"""Entries in one question; a database takes tens of thousands of values in one (from memory)."""

_V = photo_versions.c


class PhotoRecords(Subject):
    """Adds, describes, removes, erases and reads photos."""

    def add_photo(
        self,
        entry_id: str,
        prepared: PreparedPhoto,
        *,
        new_id: str,
        by: str,
        words: str,
        at_ms: int,
        room_bytes: int,
    ) -> EntryPhoto:
        """Keep a photo with an entry; a file that the entry shows already is kept once.

        *room_bytes* is how much all photos of this place may take.
        """
        with self._database.write() as connection:
            if require_entry(connection, entry_id).withdrawn:
                raise _on_withdrawn(entry_id)
            shown = [
                row
                for row in connection.execute(_newest().where(_V.entry == entry_id))
                if row.state == PhotoState.SHOWN.value
            ]
            for row in shown:
                if row.source_sha256 == prepared.source_sha256:
                    return _photo(row)
            size_bytes = len(prepared.full) + len(prepared.small)
            _check_room(connection, len(shown), size_bytes, room_bytes)
            photo = EntryPhoto(
                new_id,
                entry_id,
                at_ms,
                by,
                words,
                PhotoState.SHOWN,
                1,
                prepared.width_px,
                prepared.height_px,
                size_bytes,
            )
            _insert(connection, photo, prepared.source_sha256)
            for size, data in (
                (PictureSize.FULL, prepared.full),
                (PictureSize.SMALL, prepared.small),
            ):
                connection.execute(
                    sa.insert(photo_pictures).values(photo=new_id, size=size.value, data=data)
                )
            bump_revision(connection)
            return photo

    def describe_photo(self, photo_id: str, words: str, by: str, at_ms: int) -> EntryPhoto:
        """Say in other words what a photo shows."""
        return self._change(photo_id, by, at_ms, words=words)

    def remove_photo(self, photo_id: str, by: str, at_ms: int) -> EntryPhoto:
        """Take a photo off its entry; the history of the entry still shows it."""
        return self._change(photo_id, by, at_ms, state=PhotoState.REMOVED)

    def erase_photo(self, photo_id: str, by: str, at_ms: int) -> EntryPhoto:
        """Erase a photo's pictures for good; that there was one stays in the history."""
        return self._change(photo_id, by, at_ms, state=PhotoState.ERASED)

    def photo(self, photo_id: str) -> EntryPhoto | None:
        """Return the newest version of one photo."""
        with self._database.read() as connection:
            row = connection.execute(_newest().where(_V.id == photo_id)).first()
        return None if row is None else _photo(row)

    def photos_of(self, entry_ids: Sequence[str]) -> dict[str, list[EntryPhoto]]:
        """Return the photos that entries show, oldest first; entries without one are left out."""
        found: dict[str, list[EntryPhoto]] = {}
        with self._database.read() as connection:
            for first in range(0, len(entry_ids), ASKED_AT_ONCE):
                wanted = _newest().where(
                    _V.entry.in_(entry_ids[first : first + ASKED_AT_ONCE]),
                    _V.state == PhotoState.SHOWN.value,
                )
                for row in connection.execute(wanted.order_by(_V.added)):
                    found.setdefault(row.entry, []).append(_photo(row))
        return found

    def photo_history(self, entry_id: str) -> list[EntryPhoto]:
        """Return every version of every photo of an entry, first to newest."""
        wanted = sa.select(photo_versions).where(_V.entry == entry_id).order_by(_V.number)
        with self._database.read() as connection:
            return [_photo(row) for row in connection.execute(wanted)]

    def picture(self, photo_id: str, size: PictureSize) -> bytes | None:
        """Return one picture of a photo as JPEG; None where there is none or it was erased."""
        wanted = sa.select(photo_pictures.c.data).where(
            photo_pictures.c.photo == photo_id, photo_pictures.c.size == size.value
        )
        with self._database.read() as connection:
            data = connection.execute(wanted).scalar()
        return None if data is None else bytes(data)

    def photo_bytes(self) -> int:
        """Return how much room all photos take, removed ones among them."""
        with self._database.read() as connection:
            return _taken(connection)

    def _change(
        self,
        photo_id: str,
        by: str,
        at_ms: int,
        *,
        words: str | None = None,
        state: PhotoState | None = None,
    ) -> EntryPhoto:
        """Keep a further version; what is so already stays as it is."""
        with self._database.write() as connection:
            row = connection.execute(_newest().where(_V.id == photo_id)).first()
            if row is None:
                raise _unknown(photo_id)
            before = _photo(row)
            wanted_words = before.words if words is None else words
            wanted_state = before.state if state is None else state
            if before.state is PhotoState.ERASED or (wanted_words, wanted_state) == (
                before.words,
                before.state,
            ):
                return before
            erased = wanted_state is PhotoState.ERASED
            if erased:
                _erase(connection, photo_id)
            after = EntryPhoto(
                photo_id,
                before.entry,
                at_ms,
                by,
                "" if erased else wanted_words,
                wanted_state,
                before.version + 1,
                before.width_px,
                before.height_px,
                0 if erased else before.size_bytes,
            )
            _insert(connection, after, "" if erased else row.source_sha256, row.added)
            bump_revision(connection)
            return after


def _newest() -> sa.Select[tuple[object, ...]]:
    return sa.select(photo_versions).where(_V.newest.is_(True))


def _insert(
    connection: sa.Connection, photo: EntryPhoto, source_sha256: str, added: int | None = None
) -> None:
    """Store one version and make it the newest; *added* puts it where its first version stands."""
    connection.execute(
        sa.update(photo_versions).where(_V.id == photo.id, _V.newest.is_(True)).values(newest=False)
    )
    if added is None:
        wanted = sa.select(sa.func.count()).where(_V.entry == photo.entry, _V.version == 1)
        added = connection.execute(wanted).scalar_one()
    connection.execute(
        sa.insert(photo_versions).values(
            id=photo.id,
            version=photo.version,
            newest=True,
            entry=photo.entry,
            added=added,
            known_at_ms=photo.known_at_ms,
            by=photo.by,
            words=photo.words,
            state=photo.state.value,
            source_sha256=source_sha256,
            width_px=photo.width_px,
            height_px=photo.height_px,
            size_bytes=photo.size_bytes,
        )
    )


def _erase(connection: sa.Connection, photo_id: str) -> None:
    """Take the pictures out, and the words that told what they showed; SQLite overwrites them."""
    sqlite = connection.dialect.name == "sqlite"
    if sqlite:
        connection.exec_driver_sql("PRAGMA secure_delete = ON").close()
    connection.execute(sa.delete(photo_pictures).where(photo_pictures.c.photo == photo_id))
    connection.execute(
        sa.update(photo_versions)
        .where(_V.id == photo_id)
        .values(words="", source_sha256="", size_bytes=0)
    )
    if sqlite:
        connection.exec_driver_sql("PRAGMA secure_delete = OFF").close()


def _check_room(connection: sa.Connection, shown: int, size_bytes: int, room_bytes: int) -> None:
    """Refuse one photo too many, of the entry or of the place."""
    if shown >= PHOTOS_OF_ENTRY_MOST:
        raise UnderlidError(
            "the number of photos",
            value=shown + 1,
            expected=f"at most {PHOTOS_OF_ENTRY_MOST} with one entry",
            next_step="Remove one, or write a further entry.",
        )
    taken = _taken(connection)
    if taken + size_bytes > room_bytes:
        raise UnderlidError(
            "the room for photos",
            value=Words(f"{taken / 1e6:.0f} of {room_bytes / 1e6:.0f} MB taken"),
            expected="room for one more",
            next_step="Raise the setting photos_mb, or let a lead erase old ones.",
        )


def _taken(connection: sa.Connection) -> int:
    total = sa.func.coalesce(sa.func.sum(_V.size_bytes), 0)
    return int(connection.execute(sa.select(total).where(_V.newest.is_(True))).scalar_one())


def _photo(row: sa.Row[tuple[object, ...]]) -> EntryPhoto:
    return EntryPhoto(
        row.id,
        row.entry,
        row.known_at_ms,
        row.by,
        row.words,
        PhotoState(row.state),
        row.version,
        row.width_px,
        row.height_px,
        row.size_bytes,
    )


def _unknown(photo_id: str) -> UnderlidError:
    return UnderlidError(
        "photo id",
        value=photo_id,
        expected="the id of a photo in the journal",
        next_step="Look at its entry.",
    )


def _on_withdrawn(entry_id: str) -> UnderlidError:
    return UnderlidError(
        "entry",
        value=entry_id,
        expected="one that is not withdrawn",
        next_step="Write a new entry for the photo.",
    )
