"""What the rest of Underlid may ask of a store of readings, whichever it is.

`sqlite_readings.py` and `influx/readings.py` implement it, `readings_store.py` picks one; records
(bins, journal, alerts, people) are in `records/`. All calls block; edges that must not wait call
them from a thread.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
import numpy.typing as npt

from underlid.readings.values import Reading, Rejected

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class RawSeries:
    """Raw readings of one probe, in time order: n instants, NaN where a channel said nothing."""

    taken_at_ms: Integers
    received_at_ms: Integers
    values: dict[str, Floats]
    time_source: Integers
    """Whose clock `taken_at_ms` is: `readings.values.TimeSource` per instant."""


@dataclass(frozen=True, slots=True)
class Buckets:
    """Raw readings of one probe summed up per step: n buckets, NaN and count 0 where empty."""

    start_ms: Integers
    step_ms: int
    low: dict[str, Floats]
    mean: dict[str, Floats]
    high: dict[str, Floats]
    count: dict[str, Integers]


@dataclass(frozen=True, slots=True)
class ProbeSeen:
    """What the store knows of a probe, claimed or not."""

    probe: str
    shed: str
    first_taken_at_ms: int
    last_taken_at_ms: int
    last_received_at_ms: int
    last_values: dict[str, float]


@dataclass(frozen=True, slots=True)
class RefusedRow:
    """A reading that was acknowledged and that the server behind the store did not take."""

    reading: Reading
    said: str
    """The server's own words."""
    refused_at_ms: int


@dataclass(frozen=True, slots=True)
class Backlog:
    """How a store that sends readings on to a server stands with it."""

    waiting: int
    """Readings on disk here that the server does not have yet."""
    refused: int
    trouble: str | None
    """A sentence when somebody has to see to it, or when the server has been away for long."""
    oldest_received_ms: int | None = None
    """When the one that waits longest was received; None when none waits."""


NO_BACKLOG: Final = Backlog(0, 0, None)


class ReadingStore(Protocol):
    """Keeps readings for good: acknowledged means on disk."""

    def write(
        self, readings: Sequence[Reading], rejected: Sequence[Rejected] = ()
    ) -> Sequence[Reading]:
        """Store all in one fsynced commit: idempotent, key (time, probe), channels merged.

        Returns the readings as they are stored: without those that were there before under
        another time of receipt, and with those moved by milliseconds that would have overwritten
        another. Raises `StoreFullError` or another `StoreError` when nothing was stored.
        """
        ...

    def raw(self, probe: str, start_ms: int, end_ms: int) -> RawSeries:
        """Return the raw readings with start_ms ≤ taken_at_ms < end_ms."""
        ...

    def buckets(
        self,
        probe: str,
        start_ms: int,
        end_ms: int,
        step_ms: int,
        channels: Collection[str] | None = None,
    ) -> Buckets:
        """Return min, mean, max, count per step; hourly roll-ups serve steps of whole hours.

        Steps lie on whole multiples of *step_ms*. *channels* leaves all others out.
        """
        ...

    def buckets_of_all(
        self, probes: Sequence[str], start_ms: int, end_ms: int, step_ms: int
    ) -> Iterator[tuple[str, Buckets]]:
        """Yield `buckets` of many probes, in one go; probes without a reading are left out."""
        ...

    def arrived_since(self, received_at_ms: int, most: int) -> list[Reading]:
        """Return what was received at or after *received_at_ms*, of all probes, oldest first.

        Ordered by (received_at_ms, probe, taken_at_ms). At most *most*, but never a part of one
        millisecond: if the last one has more, all of it comes. `seq` is not kept. A row that
        gained a channel or was sent again may come with all its values; `arrivals.Arrivals`
        follows a store and leaves out what it gave before.
        """
        ...

    def probe_seen(self, probe: str) -> ProbeSeen | None:
        """Return one probe, or None when it never sent a reading."""
        ...

    def probes_seen(self, *, sure: bool = False) -> list[ProbeSeen]:
        """Return every probe that ever sent a reading.

        While the server behind the store is away, those that are known; with *sure*, a `StoreError`.
        """
        ...

    def recent_rejects(self, most: int = 100) -> list[Rejected]:
        """Return the newest rejected messages, newest first."""
        ...

    def reject_counts(self) -> dict[str, int]:
        """Return how many messages were rejected, by reason, since the store was made."""
        ...

    def backlog(self) -> Backlog:
        """Return how much has not reached the server behind the store, and why."""
        ...

    def refused_rows(self, most: int = 100) -> list[RefusedRow]:
        """Return the readings that the server refused, the newest refusal first."""
        ...

    def retry_refused(self) -> int:
        """Put every refused reading back among those to be sent; return how many."""
        ...

    def pack(self, now_ms: int) -> int:
        """Pack what is closed and drop what is too old; return the rows handled."""
        ...

    def checkpoint(self) -> None:
        """Tidy up behind the commits; called twice a second, never waits."""
        ...

    def close(self) -> None:
        """Finish writing and let go of the files."""
        ...
