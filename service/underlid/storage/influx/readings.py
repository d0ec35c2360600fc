"""Readings in InfluxDB behind `protocols.ReadingStore`: on disk here when acknowledged, then sent on.

`buffer.py` takes them, `drain.py` sends them, `reading_back.py` reads both sides as one, `hours.py`
sums closed hours up, `arrived.py` and `known.py` tell what other workers sent. Rejected messages and
message numbers stay in this worker's file: they are facts of its own door.
"""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path

import structlog

from underlid.clock import Clock, SystemClock
from underlid.readings.values import Reading, Rejected
from underlid.storage.influx.arrived import arrived_since
from underlid.storage.influx.buffer import Buffer
from underlid.storage.influx.drain import Drain
from underlid.storage.influx.hours import sum_up
from underlid.storage.influx.known import KnownProbes
from underlid.storage.influx.reading_back import ReadingBack
from underlid.storage.influx.server import InfluxPlace, InfluxServer
from underlid.storage.influx.trouble import ServerError
from underlid.storage.protocols import Backlog, Buckets, ProbeSeen, RawSeries, RefusedRow

log = structlog.get_logger(__name__)


class InfluxReadings:
    """Implements `protocols.ReadingStore` on a local file and a server.

    Nothing is sent before `start`: commands that only read leave that to the service.
    """

    def __init__(self, path: Path, place: InfluxPlace, clock: Clock | None = None) -> None:
        self.path = path
        self._clock = clock or SystemClock()
        self._server = InfluxServer(place)
        self._buffer = Buffer(path)
        self.drain = Drain(self._buffer, self._server, self._clock)
        self._back = ReadingBack(self._buffer, self._server)
        self._known = KnownProbes(self._server, self._clock, self._buffer.store.seen)
        self._packing = threading.Lock()
        self._closing = False

    def start(self) -> None:
        """Send on what waits, from now on and beside everything else."""
        self.drain.start()

    def write(
        self, readings: Sequence[Reading], rejected: Sequence[Rejected] = ()
    ) -> Sequence[Reading]:
        """Store all in one fsynced commit on this machine; never waits for the server."""
        return self._buffer.store.write(readings, rejected)

    def raw(self, probe: str, start_ms: int, end_ms: int) -> RawSeries:
        """Return the raw readings with start_ms ≤ taken_at_ms < end_ms."""
        return self._back.raw(probe, start_ms, end_ms)

    def buckets(
        self,
        probe: str,
        start_ms: int,
        end_ms: int,
        step_ms: int,
        channels: Collection[str] | None = None,
    ) -> Buckets:
        """Return min, mean, max, count per step; kept hours serve steps of whole hours."""
        return self._back.buckets(probe, start_ms, end_ms, step_ms, channels)

    def buckets_of_all(
        self, probes: Sequence[str], start_ms: int, end_ms: int, step_ms: int
    ) -> Iterator[tuple[str, Buckets]]:
        """Yield the buckets of many probes; those that never spoke are left out.

        Which those are the server is asked first: an absence must not pass for silence.
        """
        self._known.ask()
        known = self._known.all()
        spoke = [probe for probe in probes if probe in known]
        yield from self._back.buckets_of_all(spoke, start_ms, end_ms, step_ms)

    def arrived_since(self, received_at_ms: int, most: int) -> list[Reading]:
        """Return what arrived in InfluxDB at or after *received_at_ms*, oldest first.

        The same for every worker: rows that wait here are not in it. A row that was held up counts
        from when it was sent on, and `received_at_ms` says that moment.
        """
        found = arrived_since(self._server, received_at_ms, most, self._clock.now_ms())
        return self._known.with_sheds(found)

    def probe_seen(self, probe: str) -> ProbeSeen | None:
        """Return one probe, or None when it never sent a reading."""
        return self._known.one(probe)

    def probes_seen(self, *, sure: bool = False) -> list[ProbeSeen]:
        """Return every probe that ever sent a reading, to any worker, by name."""
        if sure:
            self._known.ask()
        return list(self._known.all().values())

    def recent_rejects(self, most: int = 100) -> list[Rejected]:
        """Return the newest messages that this worker rejected, newest first."""
        return self._buffer.store.recent_rejects(most)

    def reject_counts(self) -> dict[str, int]:
        """Return how many messages this worker rejected, by reason."""
        return self._buffer.store.reject_counts()

    def backlog(self) -> Backlog:
        """Return how much has not reached InfluxDB, and why."""
        return Backlog(
            self._buffer.waiting(),
            self._buffer.refused_count(),
            self.drain.trouble(),
            self._buffer.oldest_received_ms(),
        )

    def refused_rows(self, most: int = 100) -> list[RefusedRow]:
        """Return the readings that InfluxDB refused, the newest refusal first."""
        return self._buffer.refused(most)

    def retry_refused(self) -> int:
        """Put every refused reading back among those to be sent; return how many."""
        count = self._buffer.retry()
        self.drain.hurry()
        return count

    def pack(self, now_ms: int) -> int:
        """Sum up the hours that are closed; return how many. What is old the server forgets."""
        done = 0
        with self._packing:
            self._buffer.forget_numbers(now_ms)
            try:
                for hours in sum_up(self._buffer, self._server, self.drain.moving, now_ms):
                    done += hours
                    if self._closing:
                        break
            except ServerError as error:
                log.warning("hours are summed up later", said=error.said)
        return done

    def checkpoint(self) -> None:
        """Tidy up behind the commits; called twice a second, never waits."""
        self._buffer.store.checkpoint()

    def backup_to(self, path: Path) -> None:
        """Write a consistent copy of what waits here to *path*; InfluxDB has its own backup."""
        self._buffer.store.backup_to(path)

    def size_bytes(self) -> int:
        """Return the bytes of the local file and its log."""
        return self._buffer.store.size_bytes()

    def ping(self) -> bool:
        """Tell whether the server answers."""
        return self._server.ping()

    def close(self) -> None:
        """Stop sending after the request under way; what waits stays on disk."""
        self._closing = True
        self.drain.close()
        with self._packing:
            self._buffer.store.close()
            self._server.close()
