"""Messages of all connections to the writer, and the answers back to each connection.

What arrived since the last turn of the loop is one group, submitted together. Groups come back
in the order they went, after their commit; then each connection gets one write with all its
PUBACKs. A group the writer has no room for waits, and nothing more is read until it is taken.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from typing import Final, Protocol

from underlid.mqtt.counts import Counts
from underlid.mqtt.events import Arrived
from underlid.mqtt.intake import Intake, Outcome
from underlid.readings.values import RawMessage

RETRY_S: Final = 0.05
"""How soon a group is offered again that the writer had no room for."""

BYTES_IN_FLIGHT_MAX: Final = 32 * 1024 * 1024
"""Payload bytes at the writer; above this nothing more is read."""


class Sender(Protocol):
    """A connection, as far as its messages go."""

    waiting: int

    def acknowledge(self, data: bytes, acks: int, groups: int) -> None:
        """Send the PUBACKs of *groups* groups that are on disk."""
        ...

    def not_stored(self, error: Exception) -> None:
        """Send the client away without a PUBACK."""
        ...

    def hold_for_writer(self, held: bool) -> None:
        """Read nothing, or read again."""
        ...


@dataclass(slots=True)
class _Group:
    """Messages submitted together, and whom to answer for them."""

    messages: list[RawMessage] = field(default_factory=list)
    replies: list[tuple[Sender, list[bytes]]] = field(default_factory=list)
    size: int = 0


class Handover:
    """Groups going to the writer and coming back; lives on the loop of the door."""

    def __init__(
        self,
        intake: Intake,
        counts: Counts,
        senders: Iterable[Sender],
        stored: Callable[[Outcome], None],
    ) -> None:
        self.blocked = False
        self.stopping = False
        self._intake = intake
        self._counts = counts
        self._senders = senders
        self._stored = stored
        self._next = _Group()
        self._submitted: deque[_Group] = deque()
        self._bytes_in_flight = 0
        self._offer_due = False
        self._finished: deque[tuple[_Group, Outcome]] = deque()
        self._wake_due = False

    def start(self) -> None:
        """Bind to the running loop."""
        self._loop = asyncio.get_running_loop()

    def idle(self) -> bool:
        """Tell whether nothing is on its way."""
        return not self._next.messages and not self._submitted

    def take(self, sender: Sender, arrived: Arrived) -> None:
        """Put messages into the next group."""
        group = self._next
        group.messages += arrived.messages
        group.replies.append((sender, arrived.acks))
        sender.waiting += 1
        if not self._offer_due:
            self._offer_due = True
            self._loop.call_soon(self.offer)

    def offer(self) -> None:
        """Submit the next group; when there is no room, stop reading and try again."""
        self._offer_due = False
        group = self._next
        if not group.messages:
            self._only_replies(group)
            return
        group.size = sum([len(message.payload) for message in group.messages])
        room = not self._submitted or self._bytes_in_flight < BYTES_IN_FLIGHT_MAX
        if not (room and self._intake.submit(group.messages, partial(self._done, group))):
            self._block()
            return
        self._counts.messages += len(group.messages)
        self._bytes_in_flight += group.size
        self._submitted.append(group)
        self._next = _Group()
        if self.blocked:
            self.blocked = False
            self._hold_all(self.stopping)

    def _only_replies(self, group: _Group) -> None:
        """Answer refused messages, but not before those that came earlier."""
        if not group.replies:
            return
        self._next = _Group()
        if self._submitted:
            self._submitted[-1].replies += group.replies
        else:
            self._answer([group])

    def _block(self) -> None:
        self._offer_due = True
        self._loop.call_later(RETRY_S, self.offer)
        if not self.blocked:
            self.blocked = True
            self._counts.held_back += 1
            self._hold_all(True)

    def _hold_all(self, held: bool) -> None:
        for sender in self._senders:
            sender.hold_for_writer(held)

    def _done(self, group: _Group, outcome: Outcome) -> None:
        """Called by the writer's thread: wake the loop, once for all that is finished."""
        self._finished.append((group, outcome))
        if not self._wake_due:
            self._wake_due = True
            with contextlib.suppress(RuntimeError):  # the loop is closed: nobody to answer
                self._loop.call_soon_threadsafe(self._settle)

    def _settle(self) -> None:
        """Acknowledge what was committed, send away whose messages were not."""
        self._wake_due = False
        stored: list[_Group] = []
        while self._finished:
            group, outcome = self._finished.popleft()
            self._submitted.popleft()
            self._bytes_in_flight -= group.size
            if outcome.error is not None:
                self._not_stored(group, outcome.error)
                continue
            stored.append(group)
            self._stored(outcome)
        self._answer(stored)
        if self.blocked:
            self.offer()

    def _answer(self, groups: list[_Group]) -> None:
        """Write each connection's PUBACKs in one go."""
        answers: dict[Sender, tuple[list[bytes], int]] = {}
        for group in groups:
            for sender, acks in group.replies:
                known = answers.get(sender)
                answers[sender] = (acks, 1) if known is None else (known[0] + acks, known[1] + 1)
        for sender, (acks, count) in answers.items():
            self._counts.acknowledged += len(acks)
            sender.acknowledge(b"".join(acks), len(acks), count)

    def _not_stored(self, group: _Group, error: Exception) -> None:
        self._counts.not_stored += len(group.messages)
        for sender, _ in group.replies:
            sender.waiting -= 1
            sender.not_stored(error)
