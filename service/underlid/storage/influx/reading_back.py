"""Reading back: what the server has and what still waits here, as one; none missing, none twice.

What waits is read first and the server after it: rows only go from here to there, so a row on its
way is in one of both, or in both and merged by its key. Steps that waiting rows touch are summed up
from rows; all others by the server, from kept hours where they serve.
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
from underlid.storage.series import NOTHING, merged
from underlid.timeline import HOUR_MS

PROBES_A_QUERY: Final = 50
"""Probes summed up in one request, so that an answer stays in bounds."""

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
        fresh = self._fresh((probe,), starts, step_ms).get(probe, NOTHING)
        names = self._names(channels)
        if step_ms % HOUR_MS:
            sums = self._steps([probe], names, starts, step_ms).get(probe, {})
            self._freshen(probe, sums, fresh, starts, step_ms, channels)
        else:
            sums = self._by_hours(probe, names, starts, step_ms, fresh, channels)
        return buckets_of(starts, step_ms, sums)

    def buckets_of_all(
        self, probes: Sequence[str], start_ms: int, end_ms: int, step_ms: int
    ) -> Iterator[tuple[str, Buckets]]:
        """Yield the buckets of many probes, some of them a request."""
        starts = bucket_starts(start_ms, end_ms, step_ms)
        if not len(starts):
            return
        left = iter(probes)
        while some := list(islice(left, PROBES_A_QUERY)):
            fresh = self._fresh(some, starts, step_ms)
            names = self._names(None)
            if step_ms % HOUR_MS:
                sums = self._steps(some, names, starts, step_ms)
            for probe in some:
                rows = fresh.get(probe, NOTHING)
                if step_ms % HOUR_MS:
                    mine = sums.get(probe, {})
                    self._freshen(probe, mine, rows, starts, step_ms, None)
                else:
                    mine = self._by_hours(probe, names, starts, step_ms, rows, None)
                yield probe, buckets_of(starts, step_ms, mine)

    def _names(self, channels: Channels) -> list[str]:
        names = selecting.channels(self._server)
        return names if channels is None else [name for name in names if name in channels]

    def _fresh(
        self, probes: Collection[str], starts: Integers, step_ms: int
    ) -> dict[str, RawSeries]:
        return self._buffer.fresh(probes, int(starts[0]), int(starts[-1]) + step_ms)

    def _steps(
        self, probes: Collection[str], names: Sequence[str], starts: Integers, step_ms: int
    ) -> dict[str, dict[str, Sums]]:
        return selecting.summed(self._server, probes, names, int(starts[0]), len(starts), step_ms)

    def _freshen(
        self,
        probe: str,
        sums: dict[str, Sums],
        fresh: RawSeries,
        starts: Integers,
        step_ms: int,
        channels: Channels,
    ) -> None:
        """Sum the steps that waiting rows touch up again, from rows of both sides."""
        first_ms, n = int(starts[0]), len(starts)
        touched = np.unique((fresh.taken_at_ms - first_ms) // step_ms).tolist()
        if not touched:
            return
        selecting.without(sums, touched)
        for begin, end in runs(touched):
            series = merged(
                selecting.raw(
                    self._server, probe, first_ms + begin * step_ms, first_ms + end * step_ms
                ),
                fresh,
            )
            for name, one in sums_of(series, first_ms, n, step_ms).items():
                if channels is not None and name not in channels:
                    continue
                where = np.arange(begin, end)
                sums.setdefault(name, Sums.empty(n)).add_at(where, one.at(where))

    def _by_hours(
        self,
        probe: str,
        names: Sequence[str],
        starts: Integers,
        step_ms: int,
        fresh: RawSeries,
        channels: Channels,
    ) -> dict[str, Sums]:
        """Return steps of whole hours: kept hours, and rows for those that are not kept."""
        first_ms, each = int(starts[0]), step_ms // HOUR_MS
        n = len(starts) * each
        sums, known = selecting.hours(self._server, probe, names, first_ms, n)
        missing = [place for place in range(n) if place not in known]
        selecting.without(sums, missing)
        for begin, end in few_runs(missing):
            found = selecting.summed(
                self._server, (probe,), names, first_ms + begin * HOUR_MS, end - begin, HOUR_MS
            )
            inside = np.array([at for at in missing if begin <= at < end], np.int64)
            for name, one in found.get(probe, {}).items():
                sums.setdefault(name, Sums.empty(n)).add_at(inside, one.at(inside - begin))
        hourly = np.arange(n, dtype=np.int64) * HOUR_MS + first_ms
        self._freshen(probe, sums, fresh, hourly, HOUR_MS, channels)
        if each == 1:
            return sums
        result = {}
        for name, one in sums.items():
            result[name] = Sums.empty(len(starts))
            result[name].add_at(np.arange(n, dtype=np.int64) // each, one)
        return result


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
