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
    if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_FULL:
        return StoreFullError(
            "the readings file",
            value=str(path),
            expected="room to write (SQLite says: database or disk is full)",
            next_step="Free some disk space; probes keep what was not acknowledged and resend it.",
        )
    return StoreError(
        "the readings file",
        value=str(path),
        expected=f"a file that can be read and written (SQLite says: {error})",
        next_step="Check the disk and the rights on the folder, then start again.",
    )


def unexpected(error: Exception) -> StoreError:
    """Return the store's own error for a mistake of ours: the batch fails, the stream goes on."""
    return StoreError(
        "a batch of messages",
        value=f"{type(error).__name__}: {error}",
        expected="one that can be stored",
        next_step="Look into the log for the whole story, and report it as a mistake in Underlid.",
    )


def damaged(what: str, error: Exception) -> StoreError:
    """Return the error for a block that is not what was written."""
    return StoreError(
        what,
        value=f"{type(error).__name__}: {error}",
        expected="the bytes that were written",
        next_step="Check the disk, and restore the readings file from a backup.",
    )
