"""A probe's topic -> what kind of message it is, and of which shed, probe and channel.

Only Underlid's own topics, `underlid/v1/…`; others are refused unless a mapping reads them
(`mapped.py`). What the payload means is in `decode.py`.
"""

from __future__ import annotations

import re
from enum import Enum
from functools import lru_cache
from typing import Final

import msgspec

from underlid.readings.channels import is_id
from underlid.readings.refusal import RefusedError
from underlid.readings.values import RejectReason

TOPICS_CACHED: Final = 8192
"""A probe uses one or two topics; a farm with more probes than this pays 2 µs a message."""

OWN_WORDS: Final = frozenset({"state", "alert", "entry"})
"""They stand where a probe's id would stand, in topics that are not a probe's."""

TOPIC_FORMS: Final = (
    "underlid/v1/SHED/PROBE/senml, /json, /status or /value/CHANNEL, or underlid/v1/SHED/entry"
)


class Kind(Enum):
    """What a topic carries."""

    SENML = "senml"
    JSON = "json"
    VALUE = "value"
    STATUS = "status"
    ENTRY = "entry"


class Topic(msgspec.Struct, frozen=True, gc=False):
    """A topic that was understood. `probe` is empty for an entry, `channel` but for a value."""

    kind: Kind
    shed: str
    probe: str = ""
    channel: str = ""


_PROBE_TOPIC: Final = re.compile(
    r"underlid/v1/([a-z0-9][a-z0-9_-]{0,63})/([a-z0-9][a-z0-9_-]{0,63})/"
    r"(?:(senml|json|status)|value/([a-z][a-z0-9_]{0,31}))"
)


@lru_cache(TOPICS_CACHED)
def parse_topic(topic: str) -> Topic:
    """Return what *topic* says; raises `RefusedError` (BAD_TOPIC, BAD_ID or BAD_CHANNEL).

    >>> parse_topic("underlid/v1/potting/tansy-1/value/bed_temp_c").channel
    'bed_temp_c'
    """
    found = _PROBE_TOPIC.fullmatch(topic)
    if found is None or found[2] in OWN_WORDS:
        return _entry_topic(topic)
    shed, probe, kind, channel = found.groups()
    if kind is None:
        return Topic(Kind.VALUE, shed, probe, channel)
    return Topic(Kind(kind), shed, probe)


def _entry_topic(topic: str) -> Topic:
    """Return an entry's topic, or raise what is wrong with *topic*."""
    parts = topic.split("/")
    if parts[:2] != ["underlid", "v1"] or len(parts) < 4:
        raise _bad_topic(topic)
    shed, *rest = parts[2:]
    _check_id("shed", shed)
    if rest == ["entry"]:
        return Topic(Kind.ENTRY, shed)
    if rest[0] in OWN_WORDS:
        raise _bad_topic(topic)
    if len(rest) == 3 and rest[1] == "value":
        _check_id("probe", rest[0])
        raise bad_channel(rest[2])
    if len(rest) == 2 and rest[1] in {"senml", "json", "status"}:
        _check_id("probe", rest[0])
    raise _bad_topic(topic)


def _check_id(what: str, text: str) -> None:
    if not is_id(text):
        raise RefusedError(
            RejectReason.BAD_ID,
            f"{what} id in the topic",
            value=text,
            expected="1 to 64 of a-z, 0-9, - and _, beginning with a letter or digit",
            next_step="Rename it in the firmware.",
        )


def _bad_topic(topic: str) -> RefusedError:
    return RefusedError(
        RejectReason.BAD_TOPIC,
        "topic",
        value=topic,
        expected=TOPIC_FORMS,
        next_step="Let the probe publish under one of these, or set up a mapping for its topic.",
    )


def bad_channel(name: object) -> RefusedError:
    """Return the refusal of a channel's *name*, for topics and payloads alike."""
    return RefusedError(
        RejectReason.BAD_CHANNEL,
        "channel name",
        value=name,
        expected="1 to 32 of a-z, 0-9 and _, beginning with a letter",
        next_step="Rename it in the firmware.",
    )
