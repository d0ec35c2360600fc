"""What came for each mapping since the start: messages, refusals, and when the last was.

Counted by the recorder after the commit, for the messages that it takes in itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from underlid.readings.mapped import Mappings
from underlid.readings.values import RawMessage, Rejected


@dataclass(frozen=True, slots=True)
class MappingCount:
    """One mapping's messages. A message that two mappings read counts for both."""

    messages: int = 0
    last_at_ms: int | None = None
    refused: int = 0
    refused_at_ms: int | None = None
    refusal: str = ""
    """The sentence of the last refusal."""


class MappingCounts:
    """Counts on one thread; others may look at any time."""

    def __init__(self) -> None:
        self._counts: dict[str, MappingCount] = {}

    def of(self, name: str) -> MappingCount:
        """Return what came for a mapping."""
        return self._counts.get(name, MappingCount())

    def all(self) -> Mapping[str, MappingCount]:
        """Return what came, by mapping; those for which nothing came are left out."""
        return dict(self._counts)

    def note(
        self, mappings: Mappings, messages: Iterable[RawMessage], rejected: Iterable[Rejected]
    ) -> None:
        """Count messages that are on disk, and what of them could not be used."""
        for message in messages:
            for reader in mappings.covering(message.topic):
                count = self.of(reader.name)
                self._counts[reader.name] = replace(
                    count, messages=count.messages + 1, last_at_ms=message.received_at_ms
                )
        before = None
        for one in rejected:
            again, before = one.message is before, one.message  # refused for one more reason
            for reader in mappings.covering(one.message.topic):
                count = self.of(reader.name)
                self._counts[reader.name] = replace(
                    count,
                    refused=count.refused + (not again),
                    refused_at_ms=one.message.received_at_ms,
                    refusal=one.sentence,
                )
        if len(self._counts) > len(mappings.by_name):
            kept = {name: one for name, one in self._counts.items() if name in mappings.by_name}
            self._counts = kept
