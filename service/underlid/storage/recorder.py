"""The one writer thread: batches in, one fsynced commit, then the callbacks that acknowledge.

All that waits when the thread comes round goes into one commit; the disk sets the pace, no timer.
Order: understand (`pipeline.ingest`), keep journal entries, commit readings, answer each
submission in the order it came, tell the listeners. A submission is answered exactly once.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import structlog

from underlid.clock import monotonic_s
from underlid.pipeline import ingest
from underlid.readings.values import (
    Admitted,
    RawEntry,
    RawMessage,
    Rejected,
    RejectReason,
)
from underlid.storage.protocols import ReadingStore
from underlid.storage.trouble import StoreError

log = structlog.get_logger(__name__)

WAITING_MOST: Final = 20_000
"""Messages that may wait: about a second of the fastest stream, some 10 MB. Beyond it the doors stop
reading from their sockets, so the probes wait, and nothing is dropped."""

COMMIT_MOST: Final = 4_000
"""Messages in one commit, so that the first of them does not wait too long for its answer."""

CHECKPOINT_EVERY_S: Final = 0.5
"""Moving pages from the log to the file in small bites keeps the commit's tail short."""

KeepEntry = Callable[[RawEntry], str | None]
Listener = Callable[[Admitted], None]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one submission. With an error nothing was stored: do not acknowledge."""

    admitted: Admitted
    error: StoreError | None = None


Done = Callable[[Outcome], None]


@dataclass(slots=True)
class Counts:
    """Running totals of a recorder, for the metrics page."""

    messages: int = 0
    readings: int = 0
    rejected: int = 0
    commits: int = 0
    failed_commits: int = 0
    commit_s: float = 0.0


class Recorder:
    """Puts every submission on disk, in order, before anybody is told that it is there."""

    def __init__(self, store: ReadingStore, keep_entry: KeepEntry) -> None:
        self._store = store
        self._keep_entry = keep_entry
        self._listeners: list[Listener] = []
        self._waiting: deque[tuple[Sequence[RawMessage], Done]] = deque()
        self._waiting_messages = 0
        self._wake = threading.Condition()
        self._closing = False
        self.counts = Counts()
        self._thread = threading.Thread(target=self._run, name="recorder", daemon=True)
        self._thread.start()
        self._checkpoints = threading.Thread(
            target=self._checkpoint_for_ever, name="checkpoints", daemon=True
        )
        self._checkpoints.start()

    @property
    def waiting(self) -> int:
        """Messages taken and not yet on disk."""
        return self._waiting_messages

    def submit(self, batch: Sequence[RawMessage], done: Done) -> bool:
        """Take *batch*; *done* is called once, on the writer thread, after the commit.

        False when the queue is full or the recorder is closing: nothing was taken.
        """
        with self._wake:
            full = self._waiting_messages and self._waiting_messages + len(batch) > WAITING_MOST
            if self._closing or full:
                return False
            self._waiting.append((batch, done))
            self._waiting_messages += len(batch)
            self._wake.notify()
        return True

    def listen(self, listener: Listener) -> None:
        """Call *listener* on the writer thread with what each submission held, after its commit."""
        self._listeners.append(listener)

    def close(self) -> None:
        """Write what waits, then stop."""
        with self._wake:
            self._closing = True
            self._wake.notify_all()
        self._thread.join()
        self._checkpoints.join()

    def _run(self) -> None:
        while True:
            with self._wake:
                while not self._waiting and not self._closing:
                    self._wake.wait()
                if not self._waiting:
                    return
                taken = self._take()
            self._record(taken)

    def _take(self) -> list[tuple[Sequence[RawMessage], Done]]:
        """Take what waits, up to one commit's worth (the lock is held)."""
        taken = [self._waiting.popleft()]
        size = len(taken[0][0])
        while self._waiting and size + len(self._waiting[0][0]) <= COMMIT_MOST:
            taken.append(self._waiting.popleft())
            size += len(taken[-1][0])
        return taken

    def _record(self, taken: list[tuple[Sequence[RawMessage], Done]]) -> None:
        began = monotonic_s()
        parts = [self._understood(batch) for batch, _ in taken]
        error: StoreError | None = None
        try:
            self._store.write(
                [one for part in parts for one in part.readings],
                [one for part in parts for one in part.rejected],
            )
        except StoreError as trouble:
            error = trouble
            self.counts.failed_commits += 1
            log.error("nothing stored", error=str(trouble))
        size = sum(len(batch) for batch, _ in taken)
        self.counts.commit_s = monotonic_s() - began
        with self._wake:
            self._waiting_messages -= size
        if error is None:
            self._count(parts, size)
        for (_, done), part in zip(taken, parts, strict=True):
            self._answer(done, Outcome(part, error))
        if error is None:
            for part in parts:
                self._tell(part)

    def _understood(self, batch: Sequence[RawMessage]) -> Admitted:
        """Return what *batch* holds; its journal entries are on disk when this returns."""
        admitted = ingest(batch)
        for entry in admitted.entries:
            sentence = self._keep_entry(entry)
            if sentence is not None:
                topic = f"underlid/v1/{entry.shed}/entry"
                message = RawMessage(topic, repr(entry.fields).encode(), entry.received_at_ms)
                admitted.rejected.append(Rejected(RejectReason.BAD_ENTRY, sentence, message))
        return admitted

    def _count(self, parts: list[Admitted], size: int) -> None:
        self.counts.messages += size
        self.counts.readings += sum(len(part.readings) for part in parts)
        self.counts.rejected += sum(len(part.rejected) for part in parts)
        self.counts.commits += 1

    @staticmethod
    def _answer(done: Done, outcome: Outcome) -> None:
        try:
            done(outcome)
        except Exception:
            log.exception("a caller failed on its answer; its messages are stored")

    def _tell(self, part: Admitted) -> None:
        for listener in self._listeners:
            try:
                listener(part)
            except Exception:
                log.exception("a listener failed; the stream goes on")

    def _checkpoint_for_ever(self) -> None:
        pause = threading.Event()
        while not self._closing:
            pause.wait(CHECKPOINT_EVERY_S)
            try:
                self._store.checkpoint()
            except Exception:
                log.exception("a checkpoint failed; the next one follows")
