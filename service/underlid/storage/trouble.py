"""What can go wrong with a store: nothing was stored, and why."""

from __future__ import annotations

import sqlite3

from underlid.errors import UnderlidError


class StoreError(UnderlidError):
    """Nothing of the batch was stored; do not acknowledge it."""


class StoreFullError(StoreError):
    """There is no room left on the disk, or in the file."""


class StoreVersionError(StoreError):
    """The file was written by a newer Underlid."""


def store_error(error: sqlite3.Error, path: object) -> StoreError:
    """Return the store's own error for SQLite's."""
    text = str(error)
    if "full" in text:
        return StoreFullError(
            "the readings file",
            value=str(path),
            expected="room to write (SQLite says: database or disk is full)",
            next_step="Free some disk space; probes keep what was not acknowledged and resend it.",
        )
    return StoreError(
        "the readings file",
        value=str(path),
        expected=f"a file that can be written (SQLite says: {text})",
        next_step="Check the disk and the rights on the folder, then start again.",
    )
