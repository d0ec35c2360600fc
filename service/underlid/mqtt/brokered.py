"""Messages of a broker on their way to disk: what has come is one batch, one batch at a time.

paho's thread adds messages with `take`; a thread of this class submits what has come, waits for
its commit, and lets each be acknowledged in the order it came. No timer: while one batch is
being committed the next gathers, so the batches grow with the load.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Final

from underlid.mqtt.counts import Counts
from underlid.mqtt.intake import Intake, Outcome
from underlid.readings.values import RawMessage

GATHERED_MAX: Final = 5000
"""Messages that gather while a batch is committed; then nothing more is read from the broker."""

RETRY_S: Final = 0.05
"""How soon a batch is offered again that the writer had no room for."""

RETRY_NOT_STORED_S: Final = 1.0
"""How soon a batch is tried again that could not be committed, as on a full disk."""

STOP_WITHIN_S: Final = 5.0
"""A stop waits this long for the commit under way."""


class Brokered:
    """One thread between paho and the writer."""

    def __init__(
        self,
        intake: Intake,
        counts: Counts,
        ack: Callable[[int], None],
        stored: Callable[[Outcome], None],
    ) -> None:
        self._intake = intake
        self._counts = counts
        self._ack = ack
        self._stored = stored
        self._change = threading.Condition()
        self._stopping = threading.Event()
        self._messages: list[RawMessage] = []
        self._ids: list[int] = []
        self._line = 0
        """Counts the lines to the broker: a message id means nothing on another line."""
        self._thread = threading.Thread(target=self._run, name="brokered", daemon=True)

    def start(self) -> None:
        """Begin to hand over."""
        self._thread.start()

    def stop(self) -> None:
        """Let the commit under way end; what has only gathered comes again from the broker."""
        self._stopping.set()
        with self._change:
            self._change.notify_all()
        self._thread.join(STOP_WITHIN_S)

    def take(self, message: RawMessage, message_id: int) -> None:
        """Add a message; waits while too many have gathered, which slows the broker down."""
        with self._change:
            if len(self._messages) >= GATHERED_MAX:
                self._counts.held_back += 1
                self._change.wait_for(self._has_room)
            if not self._messages:
                self._change.notify_all()
            self._messages.append(message)
            self._ids.append(message_id)

    def line_lost(self) -> None:
        """Acknowledge nothing that came before this; it is stored, and comes again."""
        with self._change:
            self._line += 1
            self._ids = [0] * len(self._ids)

    def _has_room(self) -> bool:
        return len(self._messages) < GATHERED_MAX or self._stopping.is_set()

    def _run(self) -> None:
        while True:
            with self._change:
                self._change.wait_for(lambda: self._messages or self._stopping.is_set())
                if self._stopping.is_set():
                    return
                messages, self._messages = self._messages, []
                ids, self._ids = self._ids, []
                line = self._line
                self._change.notify_all()
            outcome = self._commit(messages)
            if outcome is None:
                return
            self._counts.messages += len(messages)
            self._acknowledge(ids, line)
            self._stored(outcome)

    def _commit(self, messages: list[RawMessage]) -> Outcome | None:
        """Return the outcome of storing *messages*, tried until it works or the service stops."""
        while True:
            outcome = self._try(messages)
            if outcome is not None and outcome.error is None:
                return outcome
            if outcome is not None:
                self._counts.not_stored += len(messages)
            if self._stopping.wait(RETRY_S if outcome is None else RETRY_NOT_STORED_S):
                return None

    def _try(self, messages: list[RawMessage]) -> Outcome | None:
        """Return the outcome of one try, or None when the writer has no room or is too slow."""
        finished = threading.Event()
        outcomes: list[Outcome] = []

        def done(outcome: Outcome) -> None:
            outcomes.append(outcome)
            finished.set()

        if not self._intake.submit(messages, done):
            return None
        while not finished.wait(STOP_WITHIN_S):
            if self._stopping.is_set():
                return None
        return outcomes[0]

    def _acknowledge(self, ids: list[int], line: int) -> None:
        """Send the PUBACKs, unless the line they belong to is gone."""
        with self._change:
            if line != self._line:
                return
            for message_id in ids:
                if message_id:
                    self._ack(message_id)
            self._counts.acknowledged += len(ids)
