"""Messages of other firmware -> readings, as the keeper's mappings say.

`Mappings` is all of them at one moment, ready to be used; it is replaced whole when one is changed.
How one reads is in `mapping_reader.py`; the readings go on like those of any other message.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from underlid.readings.admission import PAYLOAD_MOST_BYTES, Row, admit, empty, too_large
from underlid.readings.mapping import PayloadMapping
from underlid.readings.mapping_reader import Reader
from underlid.readings.refusal import Refusals, RefusedError
from underlid.readings.topic_filter import matches
from underlid.readings.topics import Kind, Topic
from underlid.readings.values import RawMessage, Reading

OWN_ROOT: Final = "underlid/v1/"

TOPICS_CACHED: Final = 8192
CACHED_MOST_CHARS: Final = 256
"""Topics of which is remembered who reads them; a farm with more, or longer ones, asks anew. Anybody
at the door may send to any topic, so neither may grow without end."""


class Mappings:
    """All mappings at one moment, by topic."""

    def __init__(self, mappings: Mapping[str, PayloadMapping] | None = None) -> None:
        self.by_name: dict[str, PayloadMapping] = dict(mappings or {})
        self._readers = [Reader(name, one) for name, one in self.by_name.items()]
        self._known: dict[str, tuple[Reader, ...]] = {}

    def __bool__(self) -> bool:
        return len(self._readers) > 0

    @property
    def filters(self) -> tuple[str, ...]:
        """Return what a broker is asked for, every filter once."""
        return tuple(sorted({one.filter for one in self.by_name.values()}))

    def covering(self, topic: str) -> tuple[Reader, ...]:
        """Return the mappings that read *topic*; none for a topic of Underlid's own."""
        if topic.startswith(OWN_ROOT):
            return ()
        found = self._known.get(topic)
        if found is None:
            found = tuple(one for one in self._readers if matches(one.mapping.filter, topic))
            if len(self._known) >= TOPICS_CACHED:
                self._known.clear()
            if len(topic) <= CACHED_MOST_CHARS:
                self._known[topic] = found
        return found

    def probes(self, topic: str, payload: bytes) -> set[str] | None:
        """Return whose readings a message holds; None when no mapping reads its topic."""
        readers = self.covering(topic)
        if not readers:
            return None
        return {probe for one in readers for probe in one.probes(topic, payload)}


NO_MAPPINGS: Final = Mappings()


def read_mapped(
    message: RawMessage, readers: tuple[Reader, ...], refusals: Refusals, into: list[Reading]
) -> None:
    """Append what all mappings of the message's topic find in it; raises `RefusedError`."""
    if len(message.payload) > PAYLOAD_MOST_BYTES:
        raise too_large(message.payload)
    if not message.payload.strip():
        raise empty(message.payload)
    found = False
    for reader in readers:
        for probe, rows in _rows_of(reader, message, refusals):
            found = True
            admit(rows, Topic(Kind.JSON, reader.mapping.shed, probe), message.received_at_ms, into)
    if not found and not refusals and not message.retained:
        raise empty(message.payload)


def _rows_of(
    reader: Reader, message: RawMessage, refusals: Refusals
) -> Iterator[tuple[str, list[Row]]]:
    try:
        yield from reader.rows(message, refusals).items()
    except RefusedError as refusal:
        refusals.note(refusal)
