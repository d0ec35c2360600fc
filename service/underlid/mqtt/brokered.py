"""Messages of a broker on their way to disk: what has come is one batch, one batch at a time.

paho's own thread does nearly everything: with each message it looks whether the last batch is on
disk, sends its PUBACKs in order, and submits what has come since. Doing that on another thread
costs more than the storing (they wait for each other's turn at every byte). A second thread only
helps out when no message comes that would bring paho's thread here.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from typing import Final

from underlid.clock import monotonic_s
from underlid.mqtt.counts import Counts
from underlid.mqtt.intake import Intake, Outcome
from underlid.readings.values import RawMessage

GATHERED_MAX: Final = 5000
"""Messages that gather while a batch is committed; then nothing more is read from the broker."""

HELP_AFTER_S: Final = 0.002
"""How long a finished batch waits for paho's thread before the other acknowledges it."""

RETRY_S: Final = 0.05
"""How soon a batch is offered again that the writer had no room for."""

RETRY_NOT_STORED_S: Final = 1.0
"""How soon a batch is tried again that could not be committed, as on a full disk."""

STOP_WITHIN_S: Final = 5.0
"""A stop waits this long for the commit under way."""

Item = tuple[RawMessage, int, int]
"""A message, its id (0 for QoS 0), and the line it came on."""


class Brokered:
    """Between paho and the writer."""

    def __init__(
        self,
        intake: Intake,
        counts: Counts,
        ack: Callable[[int], object],
        stored: Callable[[Outcome], None],
    ) -> None:
        self._intake = intake
        self._counts = counts
        self._ack = ack
        self._stored = stored
        self._come: deque[Item] = deque()
        self._batch: list[Item] = []
        """What is at the writer, or has to be offered to it again."""
        self._offered = False
        self._not_before_s = 0.0
        self._outcome: Outcome | None = None
        self._lock = threading.Lock()
        self._nudge = threading.Event()
        self._finished = threading.Event()
        self._stopping = threading.Event()
        self._line = 0
        """Counts the lines to the broker: a message id means nothing on another line."""
        self._thread = threading.Thread(target=self._help, name="brokered", daemon=True)

    def start(self) -> None:
        """Begin to help out."""
        self._thread.start()

    def stop(self) -> None:
        """Let the commit under way end; what has only gathered comes again from the broker."""
        self._stopping.set()
        self._nudge.set()
        self._thread.join()
        if self._offered:
            self._finished.wait(STOP_WITHIN_S)
        with self._lock:
            self._settle()

    def take(self, message: RawMessage, message_id: int) -> None:
        """Add a message; waits while too many have gathered, which slows the broker down."""
        if len(self._come) >= GATHERED_MAX:
            self._counts.held_back += 1
            while len(self._come) >= GATHERED_MAX and not self._stopping.wait(RETRY_S):
                pass
        self._come.append((message, message_id, self._line))
        if (self._outcome is not None or not self._batch) and self._lock.acquire(blocking=False):
            try:
                self._turn()
            finally:
                self._lock.release()

    def line_lost(self) -> None:
        """Acknowledge nothing that came before this; it is stored, and comes again."""
        with self._lock:
            self._line += 1

    def _turn(self) -> None:
        """Settle what is finished and submit what has come; the lock is held."""
        self._settle()
        if not self._batch:
            self._batch = [self._come.popleft() for _ in range(len(self._come))]
        if self._batch and not self._offered:
            self._offer()

    def _offer(self) -> None:
        if self._stopping.is_set() or monotonic_s() < self._not_before_s:
            self._nudge.set()
            return
        self._finished.clear()
        self._offered = self._intake.submit([item[0] for item in self._batch], self._done)
        if not self._offered:
            self._put_off(RETRY_S)

    def _done(self, outcome: Outcome) -> None:
        """Called by the writer's thread after the commit."""
        self._outcome = outcome
        self._finished.set()
        self._nudge.set()

    def _settle(self) -> None:
        """Acknowledge a batch that is on disk; keep one that is not, for another try."""
        outcome, self._outcome = self._outcome, None
        if outcome is None:
            return
        self._offered = False
        if outcome.error is not None:
            self._counts.not_stored += len(self._batch)
            self._put_off(RETRY_NOT_STORED_S)
            return
        for _, message_id, line in self._batch:
            if message_id and line == self._line:
                self._ack(message_id)
        self._counts.messages += len(self._batch)
        self._counts.acknowledged += len(self._batch)
        self._batch = []
        self._stored(outcome)

    def _put_off(self, seconds: float) -> None:
        self._not_before_s = monotonic_s() + seconds
        self._nudge.set()

    def _help(self) -> None:
        """Take a turn whenever paho's thread has had its chance and did not."""
        while not self._stopping.is_set():
            self._nudge.wait()
            self._nudge.clear()
            self._stopping.wait(max(HELP_AFTER_S, self._not_before_s - monotonic_s()))
            with self._lock:
                self._turn()
