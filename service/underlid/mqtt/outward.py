"""The topics the service itself publishes, the filters that may ask for them, the payloads.

Three kinds only, so which filters match a topic is a short list and a look-up, not a search:
`filters_for` names them all. Who may subscribe to what is in `grants.py`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from enum import Enum
from typing import Final, NamedTuple

import msgspec

ROOT: Final = "underlid/v1"


class Kind(Enum):
    """What the service tells."""

    STATE = "state"
    """A bin's verdicts and open alerts, retained."""
    ALERT = "alert"
    """One message for each change of an alert."""
    CONFIRM = "confirm"
    """The numbered messages of a probe that are on disk now."""


class ServedFilter(NamedTuple):
    """A topic filter the service answers; None stands for a wildcard."""

    kind: Kind
    shed: str | None
    subject: str | None
    """The bin (state) or the probe (confirm)."""


def state_topic(shed: str, bin_id: str) -> str:
    """Return the topic of a bin's state.

    >>> state_topic("potting", "tansy")
    'underlid/v1/potting/state/tansy'
    """
    return f"{ROOT}/{shed}/state/{bin_id}"


def alert_topic(shed: str) -> str:
    """Return the topic of a shed's alerts."""
    return f"{ROOT}/{shed}/alert"


def confirm_topic(shed: str, probe: str) -> str:
    """Return the topic that tells a probe which of its messages are on disk."""
    return f"{ROOT}/{shed}/{probe}/confirm"


def payload_of(value: Mapping[str, object]) -> bytes:
    """Return a state or an alert as the JSON that goes out."""
    return msgspec.json.encode(value)


def served_filter(topic_filter: str) -> ServedFilter | None:
    """Return what *topic_filter* asks for, or None when the service never publishes there.

    >>> served_filter("underlid/v1/+/state/#")
    ServedFilter(kind=<Kind.STATE: 'state'>, shed=None, subject=None)
    >>> served_filter("#") is None
    True
    """
    parts = topic_filter.split("/")
    if len(parts) not in (4, 5) or "/".join(parts[:2]) != ROOT or "" in parts:
        return None
    if any(("+" in part or "#" in part) and len(part) > 1 for part in parts):
        return None
    shed = None if parts[2] == "+" else parts[2]
    if shed == "#":
        return None
    if len(parts) == 4:
        return ServedFilter(Kind.ALERT, shed, None) if parts[3] == "alert" else None
    if parts[3] == "state":
        return ServedFilter(Kind.STATE, shed, None if parts[4] in "+#" else parts[4])
    if parts[4] == "confirm" and parts[3] != "#":
        return ServedFilter(Kind.CONFIRM, shed, None if parts[3] == "+" else parts[3])
    return None


def is_outward(topic: str) -> bool:
    """Tell whether only the service may publish to *topic*."""
    parts = topic.split("/")
    if topic[: len(ROOT) + 1] != ROOT + "/":
        return False
    return parts[3:4] == ["state"] or parts[3:] == ["alert"] or parts[4:] == ["confirm"]


def filters_for(topic: str) -> Iterator[str]:
    """Yield every served filter that matches one of the service's own topics.

    >>> list(filters_for("underlid/v1/potting/alert"))
    ['underlid/v1/potting/alert', 'underlid/v1/+/alert']
    """
    parts = topic.split("/")
    for shed in (parts[2], "+"):
        if len(parts) == 4:
            yield f"{ROOT}/{shed}/alert"
        elif parts[3] == "state":
            for subject in (parts[4], "+", "#"):
                yield f"{ROOT}/{shed}/state/{subject}"
        else:
            for subject in (parts[3], "+"):
                yield f"{ROOT}/{shed}/{subject}/confirm"
