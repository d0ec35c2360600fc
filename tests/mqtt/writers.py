"""Hand-written writers in place of the recorder: they can be slow, full or broken."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from underlid.mqtt.intake import Outcome
from underlid.pipeline import ingest
from underlid.readings.values import Admitted, RawMessage


@dataclass(frozen=True)
class Settled:
    """The outcome of one submission."""

    admitted: Admitted
    error: Exception | None = None


Waiting = tuple[list[RawMessage], Callable[[Outcome], None]]


@dataclass
class MemoryWriter:
    """Keeps messages in memory on a thread of its own, as the recorder keeps them on disk."""

    messages: list[RawMessage] = field(default_factory=list)
    full: bool = False
    error: Exception | None = None
    gate: threading.Event = field(default_factory=threading.Event)
    """While it is not set nothing is committed."""
    waiting: queue.SimpleQueue[Waiting | None] = field(default_factory=queue.SimpleQueue)

    def __post_init__(self) -> None:
        self.gate.set()
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()

    def submit(self, batch: Sequence[RawMessage], done: Callable[[Outcome], None]) -> bool:
        if self.full:
            return False
        self.waiting.put((list(batch), done))
        return True

    def close(self) -> None:
        self.gate.set()
        self.waiting.put(None)
        self.thread.join()

    def payloads(self) -> list[bytes]:
        return [message.payload for message in self.messages]

    def _run(self) -> None:
        while (taken := self.waiting.get()) is not None:
            batch, done = taken
            self.gate.wait()
            if self.error is not None:
                done(Settled(Admitted([], [], [], []), self.error))
                continue
            self.messages += batch
            done(Settled(ingest(batch)))
