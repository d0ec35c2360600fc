"""Sends what the buffer holds to the server and takes it out: after a 2xx, and never before.

What the server does decides what happens: away or asking for patience, the rows stay and it is
tried again, later each time; a wrong token or bucket, the rows stay and a person is asked; a
refusal, the batch is halved until the refused row is alone, which goes aside with the server's
words, while all others are stored. Nobody who writes readings ever waits for any of this.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final

import structlog

from underlid.clock import Clock, monotonic_s
from underlid.readings.values import Reading, TimeSource
from underlid.storage.hot import Key
from underlid.storage.influx.backoff import OPERATOR_S, Backoff
from underlid.storage.influx.buffer import REFUSED_MOST, Batch, Buffer
from underlid.storage.influx.lines import OutRow, unfit
from underlid.storage.influx.outgoing import Outgoing, Sorter
from underlid.storage.influx.server import InfluxServer
from underlid.storage.influx.trouble import AwayError, OperatorError, RefusedError
from underlid.storage.protocols import RefusedRow
from underlid.storage.trouble import StoreError
from underlid.timeline import MINUTE_MS, SECOND_MS

log = structlog.get_logger(__name__)

BATCH_ROWS: Final = 5_000
"""Rows in one request, as InfluxDB's documentation advises (from memory)."""

ROUND_BATCHES: Final = 4
"""Batches in one go, of which two are in memory; then summing up hours gets its turn."""

BATCH_BYTES: Final = 4 * 1024 * 1024
"""Line protocol in one request, uncompressed; servers take 10 to 25 MB (from memory)."""

EVERY_S: Final = 0.5
"""How long rows gather before they are sent on, when there are few."""

PING_EVERY_S: Final = 30.0
"""A worker that has nothing to send, such as one with pages only, asks so often."""

UNTIMED_REST_MS: Final = 2 * SECOND_MS
"""Rows without a time of their own rest here so long: messages of one millisecond are committed
well within it."""

AWAY_TOLD_MS: Final = MINUTE_MS
"""An absence shorter than this is not worth telling anybody (our judgement)."""


@dataclass(frozen=True, slots=True)
class _Prepared:
    """A batch on its way: its lines, and the rows that were refused, with the words."""

    batch: Batch
    outgoing: list[Outgoing]
    refused: list[tuple[OutRow, str]]


class Drain:
    """The one sender of a buffer. `start` runs it on a thread; tests call `step`."""

    def __init__(self, buffer: Buffer, server: InfluxServer, clock: Clock) -> None:
        self._buffer = buffer
        self._server = server
        self._clock = clock
        self._sorter = Sorter(server, buffer.worker)
        self._backoff = Backoff()
        self._sender = ThreadPoolExecutor(1, "drain-sender")
        self._closing = threading.Event()
        self._hurry = threading.Event()
        self._thread: threading.Thread | None = None
        self._away_since_ms: int | None = None
        self._asked_s = float("-inf")
        self._said = ""
        self._asks_person = False
        self.moving = threading.Lock()
        """Held while rows are on their way, and while hours are summed up."""

    def start(self) -> None:
        """Send on a thread from now on, until `close`."""
        self._thread = threading.Thread(target=self._run, name="drain", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop after the request under way."""
        self._closing.set()
        self._hurry.set()
        if self._thread is not None:
            self._thread.join()
        self._sender.shutdown()

    def hurry(self) -> None:
        """Try at once, whatever the wait was."""
        self._hurry.set()

    def trouble(self) -> str | None:
        """Return a sentence when a person has to act, or the server has been away for a while."""
        since_ms = self._away_since_ms
        if since_ms is None:
            return None
        away_ms = self._clock.now_ms() - since_ms
        if not self._asks_person and away_ms < AWAY_TOLD_MS:
            return None
        return (
            f"InfluxDB takes no readings since {away_ms // MINUTE_MS} min ({self._said});"
            " they are kept on this machine"
        )

    def step(self) -> int:
        """Send what waits, up to a round; return how many rows went.

        Raises `ServerError` when a batch could not be sent; those before it are taken out all the
        same.
        """
        with self.moving:
            if self._buffer.refused_count() >= REFUSED_MOST:
                raise OperatorError(f"{REFUSED_MOST} readings were refused, more are not sent")
            return self._round()

    def _round(self) -> int:
        """Send batch after batch: one is read and put into lines while another is sent."""
        gone = 0
        after: Key | None = None
        under_way: Future[_Prepared] | None = None
        try:
            for _ in range(ROUND_BATCHES):
                now_ms = self._clock.now_ms()
                batch = self._buffer.batch(BATCH_ROWS, now_ms - UNTIMED_REST_MS, after)
                if not batch.keys:
                    break
                after = batch.keys[-1]
                ready = self._prepare(batch, now_ms)
                before, under_way = under_way, None
                sent = before.result() if before is not None else None
                under_way = self._sender.submit(self._deliver, ready)
                if sent is not None:
                    gone += self._take_out(sent)
        finally:
            try:
                if under_way is not None:
                    gone += self._take_out(under_way.result())
            finally:
                self._buffer.moved()
        return gone

    def _prepare(self, batch: Batch, now_ms: int) -> _Prepared:
        """Put a batch into lines; what fits none is refused here."""
        refused = [(row, why) for row in batch.rows if (why := unfit(row)) is not None]
        strange = {id(row) for row, _ in refused}
        rows = [row for row in batch.rows if id(row) not in strange] if refused else batch.rows
        return _Prepared(batch, self._sorter.sort(rows, now_ms), refused)

    def _deliver(self, ready: _Prepared) -> _Prepared:
        """Send a batch, in as many requests as it takes (on the sender's thread)."""
        for part in _parts(ready.outgoing):
            ready.refused.extend(self._send(part))
        return ready

    def _take_out(self, sent: _Prepared) -> int:
        """Take a batch that was sent, or refused, out of the buffer; return how many rows went."""
        now_ms = self._clock.now_ms()
        self._sorter.done(sent.outgoing)
        gone = self._buffer.sent(
            sent.batch,
            {one.dirty for one in sent.outgoing},
            [_refused_row(row, why, now_ms) for row, why in sent.refused],
        )
        if sent.refused:
            row, why = sent.refused[0]
            count = len(sent.refused)
            log.warning("InfluxDB refuses readings", count=count, first=row.probe, said=why)
        return gone

    def empty(self) -> None:
        """Send everything that waits now; raises `ServerError` when that does not work."""
        while self.step():
            pass

    def _send(self, outgoing: Sequence[Outgoing]) -> list[tuple[OutRow, str]]:
        """Send, halving what is refused; return the refused rows with the server's words."""
        further = dict.fromkeys(line for one in outgoing for line in one.further)
        try:
            self._server.write("\n".join([*(one.line for one in outgoing), *further]))
        except RefusedError as error:
            if len(outgoing) == 1:
                return [(outgoing[0].row, error.said)]
            half = len(outgoing) // 2
            return self._send(outgoing[:half]) + self._send(outgoing[half:])
        return []

    def _run(self) -> None:
        wait_s = 0.0
        while True:
            self._hurry.wait(wait_s)
            self._hurry.clear()
            if self._closing.is_set():
                return
            wait_s = self._try()

    def _try(self) -> float:
        """Send what there is; return the seconds until the next try."""
        try:
            while not self._closing.is_set() and self.step():
                self._asked_s = monotonic_s()
                self._well()
            self._ping()
            self._well()
        except AwayError as error:
            self._ill(error.said, asks_person=False)
            return self._backoff.again(error.retry_after_s)
        except OperatorError as error:
            self._ill(error.said, asks_person=True)
            return OPERATOR_S
        except StoreError as error:
            self._ill(str(error), asks_person=True)
            return self._backoff.again()
        except Exception as mistake:
            log.exception("sending readings on failed; it is tried again")
            self._ill(f"{type(mistake).__name__}: {mistake}", asks_person=True)
            return OPERATOR_S
        return EVERY_S

    def _ping(self) -> None:
        """Ask whether the server is there, if nothing was sent for a while."""
        if monotonic_s() - self._asked_s < PING_EVERY_S:
            return
        if not self._server.ping():
            raise AwayError("no answer to a ping")
        self._asked_s = monotonic_s()

    def _well(self) -> None:
        self._backoff.well()
        if self._away_since_ms is not None:
            log.info("InfluxDB takes readings again")
        self._away_since_ms = None

    def _ill(self, said: str, *, asks_person: bool) -> None:
        self._said, self._asks_person = said, asks_person
        if self._away_since_ms is None:
            self._away_since_ms = self._clock.now_ms()
            log.warning("InfluxDB takes no readings; they are kept", said=said)


def _parts(outgoing: Sequence[Outgoing]) -> Iterator[Sequence[Outgoing]]:
    """Yield parts whose lines fit into one request."""
    first, size = 0, 0
    for at, one in enumerate(outgoing):
        size += len(one.line) + sum(map(len, one.further))
        if size > BATCH_BYTES and at > first:
            yield outgoing[first:at]
            first, size = at, len(one.line)
    if first < len(outgoing):
        yield outgoing[first:]


def _refused_row(row: OutRow, said: str, now_ms: int) -> RefusedRow:
    source = TimeSource(row.time_source)
    reading = Reading(
        row.probe, row.shed, row.taken_at_ms, row.received_at_ms, dict(row.values), source
    )
    return RefusedRow(reading, said, now_ms)
