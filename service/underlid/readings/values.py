"""What comes in, once understood: a reading, a rejection, a probe's status, a raw entry.

Built by `readings.decode`, stored by `storage`, judged by `binmodel`. These are msgspec structs
and not dataclasses because one is made for every message on the way in.
"""

from __future__ import annotations

from enum import IntEnum, StrEnum

import msgspec


class TimeSource(IntEnum):
    """Whose clock a reading's `taken_at_ms` comes from."""

    DEVICE = 0
    RECEIPT = 1
    """The probe sent no time."""
    RECEIPT_CLOCK_AHEAD = 2
    """The probe's clock was more than 10 minutes ahead."""
    RECEIPT_CLOCK_UNSET = 3
    """The probe's clock was before 2020, as after a reset without network time."""


class Reading(msgspec.Struct, frozen=True, gc=False):
    """What one probe measured at one instant.

    `values` maps channel name (unit in the name, raw, uncalibrated) to a finite float.
    `seq` is the probe's own message number when it sends one.
    """

    probe: str
    shed: str
    taken_at_ms: int
    received_at_ms: int
    values: dict[str, float]
    time_source: TimeSource = TimeSource.DEVICE
    seq: int | None = None


class RawMessage(msgspec.Struct, frozen=True, gc=False):
    """A message as it arrived at any door, before it is understood."""

    topic: str
    payload: bytes
    received_at_ms: int
    retained: bool = False
    """A broker had kept it, and sent it when its topic was asked for: it may be of any age."""


class RejectReason(StrEnum):
    """Why a message, or a part of one, could not be used."""

    BAD_TOPIC = "bad_topic"
    BAD_ID = "bad_id"
    EMPTY = "empty"
    TOO_LARGE = "too_large"
    TOO_MANY_RECORDS = "too_many_records"
    TOO_MANY_CHANNELS = "too_many_channels"
    NOT_JSON = "not_json"
    NOT_CBOR = "not_cbor"
    NOT_SENML = "not_senml"
    NOT_UNDERSTOOD = "not_understood"
    """A SenML label ending in "_", or a newer version: RFC 8428 says refuse."""
    BAD_CHANNEL = "bad_channel"
    BAD_VALUE = "bad_value"
    WRONG_UNIT = "wrong_unit"
    WRONG_PROBE = "wrong_probe"
    BAD_TIME = "bad_time"
    BAD_SEQ = "bad_seq"
    BAD_STATUS = "bad_status"
    BAD_ENTRY = "bad_entry"


class Rejected(msgspec.Struct, frozen=True, gc=False):
    """A message that could not be used: the reason to count, the sentence to show."""

    reason: RejectReason
    sentence: str
    message: RawMessage


class ProbeStatus(msgspec.Struct, frozen=True, gc=False):
    """`online` or `offline`, said by the probe or by its last will."""

    probe: str
    shed: str
    online: bool
    received_at_ms: int


class RawEntry(msgspec.Struct, frozen=True, gc=False):
    """A journal entry that came over MQTT, still a JSON object: `journal.parse` understands it."""

    shed: str
    fields: dict[str, object]
    received_at_ms: int


class Admitted(msgspec.Struct, frozen=True, gc=False):
    """What a batch of messages turned into. One message may give readings and a rejection."""

    readings: list[Reading]
    statuses: list[ProbeStatus]
    entries: list[RawEntry]
    rejected: list[Rejected]
