"""Rows that come for a span while it is on its way elsewhere: packed, or sent to a server.

Whoever moves rows begins a span, reads it, and in the end deletes all of it but what is noted here.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

from underlid.storage.hot import Key

LATE_MOST: Final = 5_000
"""Rows that may arrive for a span while it is packed. When more come, an import is running: the
span's rows stay hot until the next run."""


class Late:
    """Rows that came for a span while it was being packed; noted under the writer's lock."""

    def __init__(self) -> None:
        self._until_ms = 0
        self._keys: set[Key] = set()
        self.overrun = False

    def begin(self, until_ms: int) -> None:
        """Note rows before *until_ms* from now on; 0 ends it."""
        self._until_ms = until_ms
        self._keys.clear()
        self.overrun = False

    def widen(self, until_ms: int) -> None:
        """Note rows before *until_ms* from now on, and keep in mind what was noted."""
        self._until_ms = until_ms

    def narrow(self, until_ms: int) -> None:
        """Go on with rows before *until_ms* only, once it is known how far the moving goes."""
        self._until_ms = until_ms
        self._keys = {key for key in self._keys if key[0] < until_ms}

    def has(self, key: Key) -> bool:
        """Tell whether a row came in the meantime, or may have: too many came."""
        return self.overrun or key in self._keys

    def note(self, keys: Collection[Key]) -> None:
        """Take in the rows of a commit."""
        if self._until_ms and not self.overrun:
            self._keys.update(key for key in keys if key[0] < self._until_ms)
            self.overrun = len(self._keys) > LATE_MOST

    def between(self, start_ms: int, end_ms: int) -> list[Key]:
        """Return the noted rows in [start_ms, end_ms)."""
        return [key for key in self._keys if start_ms <= key[0] < end_ms]
