"""Following a store: what has arrived since one last asked, each value once.

For a judge whose readings are taken in by other processes. A store knows when a reading was
received, and a reading may show up some seconds after that (another worker's clock, a request under
way). So each look goes back a little and leaves out what was given before.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import msgspec

from underlid.readings.values import Reading
from underlid.storage.protocols import ReadingStore
from underlid.timeline import MINUTE_MS

LOOK_BACK_MS: Final = MINUTE_MS
"""A reading may show up so long after its time of receipt: ten seconds until it is sent on, half a
minute for the request, the rest for clocks that differ (our judgement)."""

CHUNK: Final = 5_000
"""Readings asked for at once: a few megabytes."""

REMEMBERED_MOST: Final = 500_000
"""Readings of the last minute that are remembered so that none is given twice: a minute of 8,000 a
second, about 200 bytes each. Beyond it `overrun` is set, and the judge is filled anew."""

Key = tuple[str, int]


class Arrivals:
    """One follower of one store; used by one thread."""

    def __init__(self, store: ReadingStore, now_ms: int) -> None:
        self._store = store
        self._since_ms = now_ms
        self._given: dict[Key, tuple[int, dict[str, float]]] = {}
        self.overrun = False
        """More arrived than can be told apart: fill from the store and follow anew."""
        for _ in self.news(now_ms):
            pass  # what is there already is read by whoever fills from the store

    def news(self, now_ms: int) -> Iterator[list[Reading]]:
        """Yield what is new, in chunks, oldest first; values given before are left out."""
        from_ms = self._since_ms - LOOK_BACK_MS
        while True:
            found = self._store.arrived_since(from_ms, CHUNK)
            fresh = [one for one in map(self._unknown, found) if one is not None]
            if fresh:
                yield fresh
            if found:
                newest_ms = found[-1].received_at_ms
                self._since_ms = max(self._since_ms, min(newest_ms, now_ms))
                from_ms = newest_ms + 1
                self._forget()
            if len(found) < CHUNK or self.overrun:
                return

    def _unknown(self, one: Reading) -> Reading | None:
        """Return what of a reading was not given yet; note it as given."""
        key = (one.probe, one.taken_at_ms)
        held = self._given.get(key)
        values = one.values
        if held is not None:
            values = {name: value for name, value in values.items() if held[1].get(name) != value}
            if not values:
                return None
            self._given[key] = (one.received_at_ms, {**held[1], **values})
            return msgspec.structs.replace(one, values=values)
        if len(self._given) >= REMEMBERED_MOST:
            self.overrun = True
        else:
            self._given[key] = (one.received_at_ms, values)
        return one

    def _forget(self) -> None:
        """Forget what the next look does not go back to."""
        before_ms = self._since_ms - LOOK_BACK_MS
        old = [key for key, (received_ms, _) in self._given.items() if received_ms < before_ms]
        for key in old:
            del self._given[key]
