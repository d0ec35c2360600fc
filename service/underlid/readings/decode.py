"""One message -> what it holds: readings, a status, a journal entry, and what was refused.

START HERE to follow a message: the topic says what kind it is (`topics.py`), the payload becomes
rows (`senml_rows.py`, `plain.py`; for other firmware `mapped.py`), rows become readings with a time
(`admission.py`). Total: any topic and any bytes give an answer, and never an exception.
"""

from __future__ import annotations

from typing import Final, TypeAlias

from underlid.readings.admission import PAYLOAD_MOST_BYTES, Row, admit, empty, too_large
from underlid.readings.mapped import NO_MAPPINGS, Mappings, read_mapped
from underlid.readings.payloads import read_json
from underlid.readings.plain import row_from_number, rows_from_json
from underlid.readings.refusal import Refusals, RefusedError
from underlid.readings.senml_rows import rows_from_senml
from underlid.readings.topics import Kind, Topic, parse_topic
from underlid.readings.values import (
    Admitted,
    ProbeStatus,
    RawEntry,
    RawMessage,
    RejectReason,
)

Decoded: TypeAlias = Admitted
"""What one message holds has the shape of what a batch holds."""

ENTRY_BRACKETS_MOST: Final = 64
"""A journal entry is a flat object, its portions one level deeper at the most."""

_JSON: Final = Kind.JSON
_SENML: Final = Kind.SENML
_STATUS: Final = Kind.STATUS
_ENTRY: Final = Kind.ENTRY
"""Looked up once: an enum member costs as much to find as a topic."""

STATUS_WORDS: Final = {b"online": True, b"offline": False}


def decode(message: RawMessage, mappings: Mappings = NO_MAPPINGS) -> Decoded:
    """Return all that *message* holds.

    >>> at = 1_800_000_000_000
    >>> topic = "underlid/v1/potting/tansy-1/json"
    >>> decode(RawMessage(topic, b'{"bed_temp_c": 22.4}', at)).readings[0].values
    {'bed_temp_c': 22.4}
    """
    decoded = Admitted([], [], [], [])
    decode_into(message, decoded, mappings)
    return decoded


def decode_into(message: RawMessage, into: Admitted, mappings: Mappings = NO_MAPPINGS) -> None:
    """Append all that *message* holds to *into*: the same, without a new object per message."""
    refusals = Refusals()
    try:
        if mappings and (readers := mappings.covering(message.topic)):
            read_mapped(message, readers, refusals, into.readings)
        else:
            _read_own(message, refusals, into)
    except RefusedError as refusal:
        refusals.note(refusal)
    if refusals:
        into.rejected.extend(refusals.rejected(message))


def _read_own(message: RawMessage, refusals: Refusals, into: Admitted) -> None:
    """Append what a message on one of Underlid's own topics holds; raises `RefusedError`."""
    topic = parse_topic(message.topic)
    if len(message.payload) > PAYLOAD_MOST_BYTES:
        raise too_large(message.payload)
    kind = topic.kind
    if kind is _STATUS:
        into.statuses.append(_status(topic, message))
    elif kind is _ENTRY:
        into.entries.append(_entry(topic, message))
    elif rows := _rows(topic, message, refusals):
        admit(rows, topic, message.received_at_ms, into.readings)


def _rows(topic: Topic, message: RawMessage, refusals: Refusals) -> list[Row]:
    if not message.payload:
        raise empty(message.payload)
    if topic.kind is _JSON:
        return rows_from_json(message.payload, refusals)
    if topic.kind is _SENML:
        return rows_from_senml(message.payload, topic.probe, message.received_at_ms, refusals)
    return [row_from_number(message.payload, topic.channel)]


def _status(topic: Topic, message: RawMessage) -> ProbeStatus:
    online = STATUS_WORDS.get(bytes(message.payload))
    if online is None:
        raise RefusedError(
            RejectReason.BAD_STATUS,
            "status",
            value=message.payload,
            expected="online or offline",
            next_step="Send one of the two words, and offline as last will.",
        )
    return ProbeStatus(topic.probe, topic.shed, online, message.received_at_ms)


def _entry(topic: Topic, message: RawMessage) -> RawEntry:
    """Return the entry's fields; whether they make sense is for `journal.parse` to say."""
    brackets = message.payload.count(b"{") + message.payload.count(b"[")
    fields = read_json(message.payload) if brackets <= ENTRY_BRACKETS_MOST else "nested deeply"
    if type(fields) is not dict:
        raise RefusedError(
            RejectReason.BAD_ENTRY,
            "journal entry",
            value=fields,
            expected='one JSON object like {"bin": "tansy", "kind": "feed", …}, every name once',
            next_step="See the journal page for the names.",
        )
    return RawEntry(topic.shed, fields, message.received_at_ms)
