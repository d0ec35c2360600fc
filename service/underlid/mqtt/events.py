"""What a session tells the connection that drives it, in the order in which it is to be done."""

from __future__ import annotations

from dataclasses import dataclass, field

from underlid.mqtt.endings import Ending
from underlid.readings.values import RawMessage


@dataclass(slots=True)
class Arrived:
    """Messages to store, and the PUBACKs to send, in order, once they are on disk."""

    messages: list[RawMessage] = field(default_factory=list)
    acks: list[bytes] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Opened:
    """A client was let in; an older connection of the same owner is to be taken over."""

    owner: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Send:
    """Bytes for the client, at once."""

    data: bytes


@dataclass(frozen=True, slots=True)
class Subscribed:
    """Filters granted; `retained` are those whose present states are to be sent."""

    filters: tuple[str, ...]
    retained: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Unsubscribed:
    """Filters given up."""

    filters: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Refused:
    """Something was not accepted, but the connection goes on: to be counted."""

    label: str


@dataclass(frozen=True, slots=True)
class Ended:
    """The connection is over: store the will, write what is left, close."""

    ending: Ending
    sentence: str
    will: RawMessage | None


Event = Arrived | Opened | Send | Subscribed | Unsubscribed | Refused | Ended
