"""The one writer thread: batches in, one fsynced commit, then the callbacks that acknowledge.

All that waits when the thread comes round goes into one commit; the disk sets the pace, no timer.
Order: understand (`pipeline.ingest`), commit readings, keep journal entries, answer each submission
in the order it came, tell the listeners. A submission is answered exactly once.
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
from underlid.readings.mapped import NO_MAPPINGS, Mappings
from underlid.readings.values import Admitted, RawEntry, RawMessage, Reading, Rejected, RejectReason
from underlid.storage.mapping_counts import MappingCounts
from underlid.storage.protocols import ReadingStore
from underlid.storage.trouble import StoreError, unexpected

log = structlog.get_logger(__name__)

WAITING_MOST: Final = 20_000
"""Messages that may wait: about a second of the fastest stream. Beyond it the doors stop reading
from their sockets, so the probes wait, and nothing is dropped."""

WAITING_BYTES_MOST: Final = 16 * 1024 * 1024
"""Bytes of payload that may wait: 20,000 messages of the largest size would be a gigabyte."""

COMMIT_MOST: Final = 4_000
"""Messages in one commit, so that the first of them does not wait too long for its answer."""

COMMIT_BYTES_MOST: Final = 1024 * 1024
"""Bytes of payload in one commit, so that what they turn into fits a small computer."""

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
    """How long the last commit took, understanding the messages included."""


@dataclass(frozen=True, slots=True)
class _Submission:
    batch: Sequence[RawMessage]
    done: Done
    size_bytes: int


class Recorder:
    """Puts every submission on disk, in order, before anybody is told that it is there."""

    def __init__(self, store: ReadingStore, keep_entry: KeepEntry) -> None:
        self._store = store
        self._keep_entry = keep_entry
        self._listeners: list[Listener] = []
        self._waiting: deque[_Submission] = deque()
        self._waiting_messages = 0
        self._waiting_bytes = 0
        self._wake = threading.Condition()
        self._closing = threading.Event()
        self.counts = Counts()
        self.mapping_counts = MappingCounts()
        self.mappings: Mappings = NO_MAPPINGS
        """How messages of other firmware are read; put another there at any time, from any thread."""
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

        False when the queue is full or the recorder is closing: nothing was taken. A batch that is
        larger than the whole queue is taken when nothing else waits.
        """
        size_bytes = sum([len(message.payload) for message in batch])
        with self._wake:
            messages = self._waiting_messages + len(batch)
            full = messages > WAITING_MOST or self._waiting_bytes + size_bytes > WAITING_BYTES_MOST
            if self._closing.is_set() or (full and self._waiting_messages):
                return False
            self._waiting.append(_Submission(batch, done, size_bytes))
            self._waiting_messages = messages
            self._waiting_bytes += size_bytes
            self._wake.notify()
        return True

    def listen(self, listener: Listener) -> None:
        """Call *listener* on the writer thread with what each commit stored, after it.

        Readings come as they are stored: a resend that was there before is left out.
        """
        self._listeners.append(listener)

    def close(self) -> None:
        """Write what waits, then stop."""
        with self._wake:
            self._closing.set()
            self._wake.notify_all()
        self._thread.join()
        self._checkpoints.join()

    def _run(self) -> None:
        while True:
            with self._wake:
                while not self._waiting and not self._closing.is_set():
                    self._wake.wait()
                if not self._waiting:
                    return
                taken = self._take()
            self._record(taken)
            with self._wake:
                self._waiting_messages -= sum(len(one.batch) for one in taken)
                self._waiting_bytes -= sum(one.size_bytes for one in taken)

    def _take(self) -> list[_Submission]:
        """Take what waits, up to one commit's worth (the lock is held)."""
        taken = [self._waiting.popleft()]
        messages, size_bytes = len(taken[0].batch), taken[0].size_bytes
        while self._waiting:
            messages += len(self._waiting[0].batch)
            size_bytes += self._waiting[0].size_bytes
            if messages > COMMIT_MOST or size_bytes > COMMIT_BYTES_MOST:
                break
            taken.append(self._waiting.popleft())
        return taken

    def _record(self, taken: list[_Submission]) -> None:
        """Store what was taken, answer everybody, tell the listeners."""
        began = monotonic_s()
        parts = [_nothing() for _ in taken]
        errors: list[StoreError | None]
        stored: Sequence[Reading] = ()
        try:
            parts = [ingest(one.batch, self.mappings) for one in taken]
            stored = self._store.write(
                [reading for part in parts for reading in part.readings],
                [rejected for part in parts for rejected in part.rejected],
            )
            errors = self._keep_entries(parts)
        except StoreError as trouble:
            log.error("nothing stored", error=str(trouble))
            errors = [trouble] * len(taken)
        except Exception as mistake:
            if len(taken) > 1:
                for one in taken:  # whatever is wrong with one must not keep the others out
                    self._record([one])
                return
            log.exception("nothing stored")
            errors = [unexpected(mistake)]
        self._count(taken, parts, errors, monotonic_s() - began)
        for one, part, error in zip(taken, parts, errors, strict=True):
            self._answer(one.done, Outcome(part, error))
        good = [part for part, error in zip(parts, errors, strict=True) if error is None]
        if good:
            self._tell(_told(stored, good))

    def _keep_entries(self, parts: list[Admitted]) -> list[StoreError | None]:
        """Put journal entries on disk; return an error for each submission where that failed."""
        errors: list[StoreError | None] = []
        for part in parts:
            error = None
            refused: list[Rejected] = []
            try:
                for entry in part.entries:
                    sentence = self._keep_entry(entry)
                    if sentence is not None:
                        refused.append(_refused(entry, sentence))
                if refused:
                    self._store.write([], refused)
                    part.rejected.extend(refused)
            except StoreError as trouble:
                error = trouble
            except Exception as mistake:
                log.exception("a journal entry could not be kept")
                error = unexpected(mistake)
            errors.append(error)
        return errors

    def _count(
        self,
        taken: list[_Submission],
        parts: list[Admitted],
        errors: list[StoreError | None],
        commit_s: float,
    ) -> None:
        self.counts.commit_s = commit_s
        self.counts.failed_commits += any(errors)
        self.counts.commits += not all(errors)
        for one, part, error in zip(taken, parts, errors, strict=True):
            if error is None:
                self.counts.messages += len(one.batch)
                self.counts.readings += len(part.readings)
                self.counts.rejected += len(part.rejected)
                if self.mappings:
                    self.mapping_counts.note(self.mappings, one.batch, part.rejected)

    @staticmethod
    def _answer(done: Done, outcome: Outcome) -> None:
        try:
            done(outcome)
        except Exception:
            log.exception("a caller failed on its answer; its messages are stored")

    def _tell(self, told: Admitted) -> None:
        for listener in self._listeners:
            try:
                listener(told)
            except Exception:
                log.exception("a listener failed; the stream goes on")

    def _checkpoint_for_ever(self) -> None:
        while not self._closing.wait(CHECKPOINT_EVERY_S):
            try:
                self._store.checkpoint()
            except Exception:
                log.exception("a checkpoint failed; the next one follows")


def _nothing() -> Admitted:
    return Admitted([], [], [], [])


def _told(stored: Sequence[Reading], parts: list[Admitted]) -> Admitted:
    """Return what a commit held, its readings as they are stored."""
    return Admitted(
        list(stored),
        [one for part in parts for one in part.statuses],
        [one for part in parts for one in part.entries],
        [one for part in parts for one in part.rejected],
    )


def _refused(entry: RawEntry, sentence: str) -> Rejected:
    """Return the rejection of a journal entry that does not make sense."""
    message = RawMessage(
        f"underlid/v1/{entry.shed}/entry", repr(entry.fields).encode(), entry.received_at_ms
    )
    return Rejected(RejectReason.BAD_ENTRY, sentence, message)
