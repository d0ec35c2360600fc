"""What the pages and the HTTP interface need from the rest of the service, in one value.

The composition root builds it; requests reach it through `context_of`. The live judge stands
behind the protocol `Judged`, because this package must not know how judging is driven.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import numpy.typing as npt
from starlette.requests import HTTPConnection

from underlid.clock import Clock
from underlid.config import Settings
from underlid.storage.protocols import ReadingStore
from underlid.storage.recorder import Recorder
from underlid.storage.records import Records
from underlid.web.live import Hub


class DerivedSeries(Protocol):
    """A bin's 5-minute series, computed channels (dew point, lid film, …) included."""

    @property
    def start_ms(self) -> npt.NDArray[np.int64]:
        """Return the start of every bucket."""
        ...

    @property
    def series(self) -> Mapping[str, npt.NDArray[np.float64]]:
        """Return the values by channel, NaN where there is none."""
        ...


class WayCounts(Protocol):
    """What a way in has counted since the start; `open` is the present."""

    open: int
    connections: int
    acknowledged: int
    not_stored: int
    held_back: int
    sent: int
    dropped: int
    refused: Counter[str]


class Judged(Protocol):
    """The live judge, as far as the page may touch it."""

    def state(self, bin_id: str) -> dict[str, object] | None:
        """Return the bin's verdicts and open alerts, as last judged."""
        ...

    def derived(self, bin_id: str) -> DerivedSeries | None:
        """Return the bin's 5-minute series, or None before the first judgement."""
        ...

    def acknowledge(self, alert_id: str, by: str) -> None:
        """Note that *by* has seen the alert."""
        ...

    def shelve(self, alert_id: str, until_ms: int, by: str) -> None:
        """Keep the alert quiet until *until_ms*."""
        ...

    def lag_s(self) -> float:
        """Return the seconds since the last judgement ended."""
        ...


class HeardMessage(Protocol):
    """A message that came to the broker while somebody listened."""

    @property
    def number(self) -> int:
        """Return its number, in the order they came."""
        ...

    @property
    def topic(self) -> str:
        """Return its topic."""
        ...

    @property
    def payload(self) -> bytes:
        """Return its payload, cut to a bearable length."""
        ...

    @property
    def size_bytes(self) -> int:
        """Return how long the payload was."""
        ...

    @property
    def retained(self) -> bool:
        """Tell whether the broker had kept it."""
        ...

    @property
    def at_ms(self) -> int:
        """Return when it came."""
        ...


class HeardSoFar(Protocol):
    """How far a listening has come."""

    @property
    def topic_filter(self) -> str:
        """Return what is listened to."""
        ...

    @property
    def left_s(self) -> float:
        """Return how long it goes on, 0 when it has ended."""
        ...

    @property
    def count(self) -> int:
        """Return how many messages came."""
        ...

    @property
    def trouble(self) -> str:
        """Return what went wrong."""
        ...

    @property
    def messages(self) -> Sequence[HeardMessage]:
        """Return the newest messages, the newest first."""
        ...


class Ear(Protocol):
    """Listens at the broker for a short while; what comes is shown and not stored."""

    @property
    def has_broker(self) -> bool:
        """Tell whether there is a broker to listen at."""
        ...

    def listen(self, topic_filter: str) -> None:
        """Begin to listen; an earlier listening ends."""
        ...

    def heard(self) -> HeardSoFar:
        """Return what has been heard so far."""
        ...


@dataclass(frozen=True, slots=True)
class Context:
    """Everything a request may use. `health` maps a part's name to its sentence when unwell."""

    settings: Settings
    clock: Clock
    records: Records
    readings: ReadingStore
    recorder: Recorder | None
    """None where this process takes no readings in."""
    judged: Judged
    live: Hub
    health: Mapping[str, Callable[[], str | None]] = field(default_factory=dict)
    ways: Mapping[str, WayCounts] = field(default_factory=dict)
    """What this process counts at its ways in: its MQTT door, the line to a broker."""
    ear: Ear | None = None
    start_key: str = ""
    """When set, the first-start page asks for it: the service printed it where it was started."""

    hint_of: Callable[[str], str] = field(default=lambda _: "address")
    """Says what may be shown of a person's address, and refuses one that cannot be used."""

    push_key: Callable[[], str] = field(default=lambda: "")
    """Gives the key by which a browser subscribes; empty where browsers cannot be told."""

    wake_courier: Callable[[], None] = field(default=lambda: None)
    """Says that a message was posted, so that it goes at once; else the courier looks by itself."""

    @property
    def https(self) -> bool:
        """Tell whether people reach the page by HTTPS, so that cookies may insist on it."""
        return self.settings.web_origin.lower().startswith("https://")


def context_of(connection: HTTPConnection) -> Context:
    """Return the context of the app that answers *connection*."""
    context: Context = connection.app.state.context
    return context
