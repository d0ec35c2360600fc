"""A session of the state machine under test, and what it answers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeVar

from mqtt.loopback import GRANTS, SECRETS, STATUS
from underlid.mqtt.decoding import PacketReader
from underlid.mqtt.encoding import encode
from underlid.mqtt.events import (
    Event,
    Send,
)
from underlid.mqtt.grants import Grants
from underlid.mqtt.packets import (
    V5,
    V311,
    Connect,
    Packet,
    Will,
)
from underlid.mqtt.session import Session, State

NOW_MS = 1_780_000_000_000
WILL = Will(STATUS, b"offline", 1, True)
VERSIONS = (V311, V5)
Wanted = TypeVar("Wanted")


def a_session(grants: Grants = GRANTS) -> Session:
    return Session(grants, lambda: "made-up")


def connect(version: int = V311, user: str | None = "probes", **more: Any) -> Connect:
    fields: dict[str, Any] = {"client_id": "one", "password": SECRETS.get(user or "", "x").encode()}
    return Connect(version, user=user, **(fields | more))


def give(session: Session, *sent: Packet, version: int = V311) -> list[Event]:
    return session.receive(b"".join(encode(packet, version) for packet in sent), NOW_MS)


def serving(version: int = V311, **more: Any) -> Session:
    session = a_session()
    give(session, connect(version, **more), version=version)
    assert session.state is State.SERVING
    return session


def answers(events: Sequence[Event], version: int = V311) -> list[Any]:
    reader = PacketReader(version)
    return [
        packet for event in events if isinstance(event, Send) for packet in reader.feed(event.data)
    ]


def only(events: Sequence[Event], kind: type[Wanted]) -> Wanted:
    found = [event for event in events if isinstance(event, kind)]
    assert len(found) == 1, events
    return found[0]
