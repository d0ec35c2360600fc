"""One TCP or TLS connection at the door: carries out what its session says.

The rules of MQTT are in `session.py`; what belongs to all connections together (the batch that
goes to the writer, the readers of states) is in `door.py`. Here: reading and not reading, the
rate, the write buffer, closing.
"""

from __future__ import annotations

import asyncio
from enum import Enum
from typing import TYPE_CHECKING, Final, cast

from underlid.clock import monotonic_s
from underlid.mqtt.encoding import encode
from underlid.mqtt.endings import Ending
from underlid.mqtt.events import (
    Arrived,
    Ended,
    Event,
    Opened,
    Refused,
    Send,
    Subscribed,
    Unsubscribed,
)
from underlid.mqtt.packets import Publish
from underlid.mqtt.session import Session, State

if TYPE_CHECKING:
    from underlid.mqtt.door import Door

WRITE_BUFFER_BYTES: Final = 256 * 1024
"""Above this the client counts as slow: nothing more is read from it or published to it."""

SLOW_FOR_S: Final = 30.0
"""A client that takes nothing for this long is sent away (our judgement)."""

PART_FOR_S: Final = 60.0
"""Half a packet may wait this long for its rest; 66 KiB at 10 kbit/s take 54 s."""

CLOSING_FOR_S: Final = 10.0
"""The last bytes of a connection have this long to leave."""


class Hold(Enum):
    """Why nothing is read from a connection at the moment."""

    RATE = 1
    IN_FLIGHT = 2
    WRITER = 3
    SLOW = 4


class Connection(asyncio.Protocol):
    """The asyncio side of one session."""

    def __init__(self, door: Door) -> None:
        self._door = door
        self.session = Session(door.grants, door.new_client_id)
        self.owner: tuple[str, str] | None = None
        self.waiting = 0
        """Groups of messages that wait for their commit."""
        self._transport: asyncio.Transport | None = None
        self._peer = ""
        self._is_tls = False
        self._holds: set[Hold] = set()
        self._heard_at_s = 0.0
        self._part_since_s: float | None = None
        self._slow_since_s: float | None = None
        self._closing_since_s: float | None = None
        self._allowance = float(door.limits.burst)
        self._allowance_at_s = 0.0
        self._missed: dict[str, bool] = {}

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Begin, if there is room."""
        self._transport = cast(asyncio.Transport, transport)
        self._transport.set_write_buffer_limits(high=WRITE_BUFFER_BYTES)
        peer = transport.get_extra_info("peername")
        self._peer = str(peer[0]) if isinstance(peer, tuple) else "?"
        self._is_tls = transport.get_extra_info("ssl_object") is not None
        self._heard_at_s = self._allowance_at_s = monotonic_s()
        if not self._door.entered(self):
            self._transport.abort()

    def data_received(self, data: bytes) -> None:
        """Do what follows from *data*."""
        if self._closing_since_s is not None:
            return
        if self._holds and self._transport is not None:
            self._transport.pause_reading()  # a pause before the first byte may go unheard
        events = self.session.receive(data, self._door.now_ms())
        if events:
            self._heard_at_s = monotonic_s()
        if self.session.holds_part():
            if events or self._part_since_s is None:
                self._part_since_s = monotonic_s()
        else:
            self._part_since_s = None
        self.carry_out(events)

    def eof_received(self) -> bool:
        """The client will say nothing more; what it said may still be acknowledged."""
        self.end(Ending.LOST, "The client closed the connection.")
        return self.waiting > 0 and not self._is_tls

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self._transport = None
        self.end(Ending.LOST, "The connection was lost." if exc is None else str(exc))
        self._door.left(self)

    def pause_writing(self) -> None:
        """Note that the client does not take what it is sent."""
        self._slow_since_s = monotonic_s()
        self.hold(Hold.SLOW)

    def resume_writing(self) -> None:
        """Go on, with the states that were missed."""
        self._slow_since_s = None
        self.release(Hold.SLOW)
        self._deliver_missed()

    def end(self, ending: Ending, sentence: str) -> None:
        """End the session for a reason that is not in its bytes."""
        self.carry_out(self.session.end(ending, sentence, self._door.now_ms()))

    def carry_out(self, events: list[Event]) -> None:
        """Do what the session says, in its order."""
        for event in events:
            if type(event) is Arrived:
                self._arrived(event)
            elif isinstance(event, Send):
                self.write(event.data)
            elif isinstance(event, Opened):
                self.owner = event.owner
                self._door.opened(self)
            elif isinstance(event, Subscribed):
                self._door.readers.add(self, event.filters)
                for topic in self._door.readers.retained_for(event.retained):
                    self._missed[topic] = True
                self._deliver_missed()
            elif isinstance(event, Unsubscribed):
                self._door.readers.remove(self, event.filters)
            elif isinstance(event, Refused):
                self._door.refused(event.label, self.session.user or self._peer, "")
            elif isinstance(event, Ended):
                self._ended(event)

    def write(self, data: bytes) -> None:
        """Send *data*, if there is still somebody."""
        if self._transport is not None:
            self._transport.write(data)

    def acknowledge(self, data: bytes, acks: int, groups: int) -> None:
        """Send the PUBACKs of messages that are on disk."""
        self.waiting -= groups
        self.session.acknowledged(acks)
        if Hold.IN_FLIGHT in self._holds and self.session.in_flight < self._door.limits.in_flight:
            self.release(Hold.IN_FLIGHT)
        self.write(data)
        if not self.waiting and self._closing_since_s is not None and self._transport is not None:
            self._transport.close()

    def not_stored(self, error: Exception) -> None:
        """Send the client away; it keeps what was not acknowledged."""
        if self.session.state is State.SERVING:
            self.end(Ending.NOT_STORED, f"The readings could not be stored: {error}")

    def hold_for_writer(self, held: bool) -> None:
        """Read nothing until the writer has room, or read again."""
        if held:
            self.hold(Hold.WRITER)
        else:
            self.release(Hold.WRITER)

    def deliver(self, topic: str, data: bytes, retained: bool) -> bool:
        """Publish to this reader; False when it is too slow and the message is left out."""
        if self._slow_since_s is not None:
            if retained:
                self._missed.setdefault(topic, False)
            return retained
        if len(data) > self.session.packet_bytes_max:
            return False
        self.write(data)
        return True

    def hold(self, why: Hold) -> None:
        """Read nothing until *why* is over."""
        if not self._holds and self._transport is not None and not self._transport.is_closing():
            self._transport.pause_reading()
        self._holds.add(why)

    def release(self, why: Hold) -> None:
        """Read again, unless something else forbids it."""
        if why not in self._holds:
            return
        self._holds.discard(why)
        if self._holds:
            return
        self._heard_at_s = monotonic_s()
        if self._transport is not None and not self._transport.is_closing():
            self._transport.resume_reading()

    def check(self, now_s: float) -> None:
        """End what has taken too long; called once a second."""
        if self._closing_since_s is not None:
            if now_s - self._closing_since_s > CLOSING_FOR_S:
                self.abort()
            return
        if self._slow_since_s is not None and now_s - self._slow_since_s > SLOW_FOR_S:
            self.end(Ending.SLOW_READER, f"The client took nothing for {SLOW_FOR_S:.0f} s.")
            return
        if self._holds:
            return
        allowed_s = self.session.silence_allowed_s()
        silent_s = now_s - self._heard_at_s
        if allowed_s is not None and silent_s > allowed_s:
            waiting = self.session.state is State.AWAITING_CONNECT
            ending = Ending.NO_CONNECT if waiting else Ending.SILENT
            self.end(ending, f"The client said nothing for {silent_s:.0f} s.")
        elif self._part_since_s is not None and now_s - self._part_since_s > PART_FOR_S:
            self.end(Ending.SILENT, f"Half a packet waited {PART_FOR_S:.0f} s for its rest.")

    def abort(self) -> None:
        """Drop the connection without another byte."""
        if self._transport is not None:
            self._transport.abort()

    def _arrived(self, arrived: Arrived) -> None:
        limits = self._door.limits
        self._door.handover.take(self, arrived)
        if self.session.in_flight >= limits.in_flight:
            self.hold(Hold.IN_FLIGHT)
        self._allowance -= len(arrived.messages)
        if self._allowance < 0:
            self._refill()

    def _refill(self) -> None:
        """Add to the allowance what the time since the last refill brings; wait if it is spent."""
        limits, now_s = self._door.limits, monotonic_s()
        gained = (now_s - self._allowance_at_s) * limits.messages_per_s
        self._allowance = min(float(limits.burst), self._allowance + gained)
        self._allowance_at_s = now_s
        if self._allowance < 0:
            self.hold(Hold.RATE)
            wait_s = -self._allowance / limits.messages_per_s
            asyncio.get_running_loop().call_later(wait_s, self.release, Hold.RATE)

    def _deliver_missed(self) -> None:
        while self._missed and self._slow_since_s is None:
            topic, first = next(iter(self._missed.items()))
            del self._missed[topic]
            payload = self._door.readers.retained.get(topic)
            if payload is not None:
                packet = Publish(topic, payload, retain=first)
                data = encode(packet, self.session.version)
                if len(data) <= self.session.packet_bytes_max:
                    self.write(data)

    def _ended(self, event: Ended) -> None:
        self._door.ended(self, event, self._peer)
        self._closing_since_s = monotonic_s()
        if self._transport is None:
            return
        patient = event.ending in (Ending.LEFT, Ending.LEFT_WITH_WILL, Ending.LOST)
        if not (patient and self.waiting):
            self._transport.close()
