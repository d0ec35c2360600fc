"""A photo of a journal entry: what is known of it in each version, and its pictures.

Pictures are made in `files/photos.py` and kept in `storage/records/photos.py`. A judgement knows
nothing of photos. The entry itself is in `entries.py`; its kind `photo` is an entry of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from underlid.errors import UnderlidError, Words

WORDS_MOST_CHARS: Final = 200
"""Read out to somebody who does not see the picture: a sentence or two."""


class PhotoState(StrEnum):
    """Whether a photo is shown with its entry."""

    SHOWN = "shown"
    REMOVED = "removed"
    """Taken off the entry; its history still shows it."""
    ERASED = "erased"
    """Its pictures are gone for good; its history says so."""


class PictureSize(StrEnum):
    """What is kept of a photo."""

    FULL = "full"
    SMALL = "small"


@dataclass(frozen=True, slots=True)
class PreparedPhoto:
    """Two pictures made of one file: JPEG, upright, without anything that a camera writes beside."""

    full: bytes
    small: bytes
    width_px: int
    height_px: int
    source_sha256: str
    """Of the file as it came: the same file sent twice is one photo."""


@dataclass(frozen=True, slots=True)
class EntryPhoto:
    """One version of a photo: adding, describing, removing and erasing each make one."""

    id: str
    entry: str
    known_at_ms: int
    by: str
    words: str
    """What it shows, in the keeper's words; may be empty."""
    state: PhotoState
    version: int
    width_px: int
    height_px: int
    size_bytes: int
    """Of both pictures together."""


def checked_words(words: str) -> str:
    """Return what a photo shows as one line, or refuse it when it is too long.

    >>> checked_words(" white mould " + chr(10) + " on the bread ")
    'white mould on the bread'
    """
    line = " ".join(words.split())
    if len(line) > WORDS_MOST_CHARS:
        raise UnderlidError(
            "the words for the photo",
            value=Words(f"{len(line)} characters long"),
            expected=f"at most {WORDS_MOST_CHARS} characters",
            next_step="Shorten them; the entry's remark has room for more.",
        )
    return line
