"""Who reads which of the service's own topics, and the newest state of each retained topic.

An index and nothing else: no bytes, no sockets. `filters_for` lists the few filters that can
match a topic, so finding its readers is a handful of look-ups however many probes are connected.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, Generic, TypeVar

from underlid.mqtt.outward import filters_for

RETAINED_MAX: Final = 20_000
"""States kept for new readers: twice the bins of the largest site planned for."""

Reader = TypeVar("Reader")


class Readers(Generic[Reader]):
    """Maps filters to readers, and holds what is retained."""

    def __init__(self) -> None:
        self.retained: dict[str, bytes] = {}
        self._readers: dict[str, dict[Reader, None]] = {}

    def __bool__(self) -> bool:
        return bool(self._readers)

    def add(self, reader: Reader, filters: Iterable[str]) -> None:
        """Let *reader* have what matches *filters*."""
        for one in filters:
            self._readers.setdefault(one, {})[reader] = None

    def remove(self, reader: Reader, filters: Iterable[str]) -> None:
        """Let *reader* have it no more."""
        for one in filters:
            found = self._readers.get(one)
            if found is not None:
                found.pop(reader, None)
                if not found:
                    del self._readers[one]

    def of(self, topic: str) -> dict[Reader, list[str]]:
        """Return the readers of *topic*, each once, with their filters that match."""
        found: dict[Reader, list[str]] = {}
        for one in filters_for(topic):
            for reader in self._readers.get(one, ()):
                found.setdefault(reader, []).append(one)
        return found

    def keep(self, topic: str, payload: bytes) -> bool:
        """Retain *payload*, or forget the topic when it is empty; False when there is no room."""
        if not payload:
            self.retained.pop(topic, None)
            return True
        if topic not in self.retained and len(self.retained) >= RETAINED_MAX:
            return False
        self.retained[topic] = payload
        return True

    def retained_for(self, filters: Iterable[str]) -> list[str]:
        """Return the retained topics that match any of *filters*, in the order they came."""
        wanted = set(filters)
        if not wanted:
            return []
        return [topic for topic in self.retained if not wanted.isdisjoint(filters_for(topic))]
