"""Reading back: what the server has and what still waits here, as one; none missing, none twice.

What waits is read first and the server after it: rows only go from here to there, so a row on its
way is in one of both, or in both and merged by its key. Steps are summed up from rows; those of whole
hours from kept hours, where there are any that no waiting row touches.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from itertools import islice
from typing import Final

import numpy as np

from underlid.storage.influx import selecting
from underlid.storage.influx.buffer import Buffer
from underlid.storage.influx.server import InfluxServer
from underlid.storage.protocols import Buckets, Integers, RawSeries
from underlid.storage.rollups import Sums, bucket_starts, buckets_of, sums_of
from underlid.storage.series import NOTHING, cut, merged
from underlid.timeline import HOUR_MS

PROBES_A_QUERY: Final = 10
"""Probes read in one request: two weeks at one reading a minute are some 13 megabytes here."""

RUNS_MOST: Final = 20
"""Stretches of hours without kept sums that are asked for one by one; of more, all at once."""

Channels = Collection[str] | None


class ReadingBack:
    """Answers what `protocols.ReadingStore` asks of series and sums."""

    def __init__(self, buffer: Buffer, server: InfluxServer) -> None:
        self._buffer = buffer
        self._server = server

    def raw(self, probe: str, start_ms: int, end_ms: int) -> RawSeries:
        """Return the raw readings with start_ms ≤ taken_at_ms < end_ms."""
        fresh = self._buffer.fresh((probe,), start_ms, end_ms).get(probe, NOTHING)
        return merged(selecting.raw(self._server, probe, start_ms, end_ms), fresh)

    def buckets(
        self, probe: str, start_ms: int, end_ms: int, step_ms: int, channels: Channels
    ) -> Buckets:
        """Return the buckets of one probe."""
        starts = bucket_starts(start_ms, end_ms, step_ms)
        if not len(starts):
            return buckets_of(starts, step_ms, {})
        if step_ms % HOUR_MS:
            sums = self._steps([probe], starts, step_ms, channels)[probe]
        else:
            sums = self._by_hours(probe, starts, step_ms, channels)
        return buckets_of(starts, step_ms, sums)

    def buckets_of_all(
        self, probes: Sequence[str], start_ms: int, end_ms: int, step_ms: int
    ) -> Iterator[tuple[str, Buckets]]:
        """Yield the buckets of many probes, some of them a request."""
        starts = bucket_starts(start_ms, end_ms, step_ms)
        left = iter(probes if len(starts) else ())
        while some := list(islice(left, PROBES_A_QUERY)):
            if step_ms % HOUR_MS:
                sums = self._steps(some, starts, step_ms, None)
            else:
                sums = {probe: self._by_hours(probe, starts, step_ms, None) for probe in some}
            for probe in some:
                yield probe, buckets_of(starts, step_ms, sums[probe])

    def _steps(
        self, probes: Sequence[str], starts: Integers, step_ms: int, channels: Channels
    ) -> dict[str, dict[str, Sums]]:
        """Sum steps up from the rows of both sides."""
        first_ms, end_ms = int(starts[0]), int(starts[-1]) + step_ms
        fresh = self._buffer.fresh(probes, first_ms, end_ms)
        stored = selecting.rows(self._server, probes, first_ms, end_ms, channels)
        return {
            probe: _only(
                channels,
                sums_of(
                    merged(stored.get(probe, NOTHING), fresh.get(probe, NOTHING)),
                    first_ms,
                    len(starts),
                    step_ms,
                ),
            )
            for probe in probes
        }

    def _by_hours(
        self, probe: str, starts: Integers, step_ms: int, channels: Channels
    ) -> dict[str, Sums]:
        """Return steps of whole hours: kept hours, and rows for those that are not kept."""
        first_ms, each = int(starts[0]), step_ms // HOUR_MS
        n = len(starts) * each
        fresh = self._buffer.fresh((probe,), first_ms, first_ms + n * HOUR_MS).get(probe, NOTHING)
        sums, known = selecting.hours(self._server, probe, channels, first_ms, n)
        known -= set(((fresh.taken_at_ms - first_ms) // HOUR_MS).tolist())
        missing = [place for place in range(n) if place not in known]
        selecting.without(sums, missing)
        for begin, end in few_runs(missing):
            start_ms, end_ms = first_ms + begin * HOUR_MS, first_ms + end * HOUR_MS
            stored = selecting.rows(self._server, (probe,), start_ms, end_ms, channels)
            series = merged(stored.get(probe, NOTHING), cut(fresh, start_ms, end_ms))
            where = np.array([at for at in missing if begin <= at < end], np.int64)
            found = sums_of(series, start_ms, end - begin, HOUR_MS)
            for name, one in _only(channels, found).items():
                sums.setdefault(name, Sums.empty(n)).add_at(where, one.at(where - begin))
        if each == 1:
            return sums
        result = {}
        for name, one in sums.items():
            result[name] = Sums.empty(len(starts))
            result[name].add_at(np.arange(n, dtype=np.int64) // each, one)
        return result


def _only(channels: Channels, sums: dict[str, Sums]) -> dict[str, Sums]:
    """Leave out the channels that were not asked for, and those that said nothing."""
    return {
        name: one
        for name, one in sums.items()
        if one.count.any() and (channels is None or name in channels)
    }


def runs(places: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield the stretches [begin, end) of ascending places.

    >>> list(runs([1, 2, 5]))
    [(1, 3), (5, 6)]
    """
    begin: int | None = None
    last = 0
    for place in places:
        if begin is None:
            begin = place
        elif place != last + 1:
            yield begin, last + 1
            begin = place
        last = place
    if begin is not None:
        yield begin, last + 1


def few_runs(places: Sequence[int]) -> list[tuple[int, int]]:
    """Return the stretches, or one over all of them when they are many."""
    found = list(runs(places))
    return found if len(found) <= RUNS_MOST else [(places[0], places[-1] + 1)]
