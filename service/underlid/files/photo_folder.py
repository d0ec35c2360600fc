"""The photos of a journal as files in a folder, with a list of what each belongs to.

An import reads the journal's rows only; photos are for people and other programs to look at.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path
from typing import Final, Protocol

from underlid.errors import UnderlidError
from underlid.journal.entries import Entry
from underlid.journal.photos import EntryPhoto, PictureSize
from underlid.timeline import rfc3339

LIST: Final = "photos.csv"
COLUMNS: Final = ("file", "time", "bin", "kind", "words", "by")


class PhotoSource(Protocol):
    """Where photos come from: the records."""

    def photos_of(self, entry_ids: Sequence[str]) -> dict[str, list[EntryPhoto]]:
        """Return the photos that entries show."""
        ...

    def picture(self, photo_id: str, size: PictureSize) -> bytes | None:
        """Return one picture of a photo."""
        ...


def require_empty(folder: Path) -> None:
    """Refuse a folder in which photos would mix with something else."""
    if folder.exists() and any(folder.iterdir()):
        raise UnderlidError(
            "folder for photos",
            value=str(folder),
            expected="an empty folder, or none yet",
            next_step="Choose another.",
        )


def write_photos(folder: Path, entries: Sequence[Entry], source: PhotoSource) -> int:
    """Write the photos that *entries* show, and the list of them; return how many."""
    photos = source.photos_of([entry.id for entry in entries])
    count = 0
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with (folder / LIST).open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(COLUMNS)
            for entry in entries:
                for photo in photos.get(entry.id, ()):
                    data = source.picture(photo.id, PictureSize.FULL)
                    if data is None:  # erased a moment ago
                        continue
                    name = file_name(entry, photo)
                    (folder / name).write_bytes(data)
                    time = rfc3339(entry.at_ms)
                    writer.writerow((name, time, entry.bin, entry.kind, photo.words, photo.by))
                    count += 1
    except OSError as error:
        raise UnderlidError(
            "folder for photos",
            value=str(folder),
            expected=f"one that can be written ({error.strerror})",
            next_step="Check its rights and the free space.",
        ) from None
    return count


def file_name(entry: Entry, photo: EntryPhoto) -> str:
    """Return a name that sorts by time and says of what the photo is."""
    time = rfc3339(entry.at_ms)[:19].replace(":", "")
    return f"{time}-{entry.bin}-{entry.kind}-{photo.id}.jpg"
