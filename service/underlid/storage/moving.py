"""A history from one store of readings to another: a probe's month at a time, compared when it is over.

A month that the target has already is passed over, so a move that was stopped goes on where it was.
Nothing is taken out of the source. `underlid move-readings` drives this.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final, Protocol

import numpy as np

from underlid.errors import UnderlidError
from underlid.storage.protocols import Buckets, ProbeSeen, RawSeries, ReadingStore
from underlid.storage.series import NOTHING
from underlid.timeline import HOUR_MS, SECOND_MS, rfc3339


class Target(Protocol):
    """Where a history goes."""

    def series(self, probe: str, start_ms: int, end_ms: int) -> RawSeries:
        """Return what is there of a probe in [start_ms, end_ms)."""
        ...

    def take(self, seen: ProbeSeen, series: RawSeries) -> None:
        """Keep rows of one probe's month that are not there yet, with the sums of their hours.

        Where it stops half-way, sums may be there without their rows, but never rows without sums.
        """
        ...

    def take_hours(self, probe: str, hours: Buckets) -> bool:
        """Keep sums of hours of which there are no rows any more; False where that cannot be."""
        ...

    def tidy(self, *, over: bool) -> None:
        """Do what is to be done between two months, or in the end."""
        ...


@dataclass(frozen=True, slots=True)
class Month:
    """One probe's calendar month, UTC: what a move does in one go."""

    seen: ProbeSeen
    start_ms: int
    end_ms: int


@dataclass(frozen=True, slots=True)
class Moved:
    """What became of one month."""

    month: Month
    rows: int
    checksum: str
    """Of times and values, the same in both stores."""
    was_there: bool
    hours_left: int
    """Hours without rows that the target cannot keep."""


FIRST_MS: Final = 0
"""1970: nothing is older."""


def months_of(seen: ProbeSeen) -> Iterator[Month]:
    """Yield the months in which a probe spoke, the first to the last."""
    at = datetime.fromtimestamp(max(seen.first_taken_at_ms, FIRST_MS) / SECOND_MS, UTC)
    year, month = at.year, at.month
    while True:
        start_ms = _first_ms(year, month)
        if start_ms > seen.last_taken_at_ms:
            return
        year, month = (year, month + 1) if month < 12 else (year + 1, 1)
        yield Month(seen, start_ms, _first_ms(year, month))


def move(source: ReadingStore, target: Target, month: Month) -> Moved:
    """Bring one month over and compare; raises `UnderlidError` when it did not arrive as it left."""
    probe, span = month.seen.probe, (month.start_ms, month.end_ms)
    ours = source.raw(probe, *span)
    expected = checksum(ours)
    theirs = target.series(probe, *span)
    was_there = checksum(like(theirs, ours)) == expected
    if not was_there:
        target.take(month.seen, new_in(ours, theirs))
        found = like(target.series(probe, *span), ours)
        if checksum(found) != expected:
            raise UnderlidError(
                f"readings of {probe} from {rfc3339(month.start_ms)} on",
                value=f"{len(found.taken_at_ms)} of {len(ours.taken_at_ms)} as they were",
                expected="all of them, each as it was",
                next_step="See whether the server keeps readings that long and refuses none, then move"
                " again; it goes on where it was.",
            )
    hours = _hours_alone(source.buckets(probe, *span, HOUR_MS), ours)
    count = sum(int((one > 0).sum()) for one in hours.count.values())
    kept = count == 0 or target.take_hours(probe, hours)
    target.tidy(over=False)
    return Moved(month, len(ours.taken_at_ms), expected, was_there, 0 if kept else count)


def checksum(series: RawSeries) -> str:
    """Return a sum over the times and values of a series, whatever order its channels have."""
    total = hashlib.sha256(np.ascontiguousarray(series.taken_at_ms, "<i8").tobytes())
    for name in sorted(series.values):
        column = series.values[name] + 0.0  # no negative zero: not every store keeps its sign
        if not np.isnan(column).all():
            total.update(name.encode())
            total.update(np.where(np.isnan(column), np.nan, column).astype("<f8").tobytes())
    return total.hexdigest()


def like(series: RawSeries, model: RawSeries) -> RawSeries:
    """Return of a series the instants and channels that *model* has; more may be there."""
    if not len(series.taken_at_ms):
        return NOTHING
    place = np.searchsorted(series.taken_at_ms, model.taken_at_ms)
    place = np.minimum(place, len(series.taken_at_ms) - 1)
    place = place[series.taken_at_ms[place] == model.taken_at_ms]
    values = {}
    for name, wanted in model.values.items():
        if name in series.values:
            column = series.values[name][place]
            if len(column) == len(wanted):
                column = np.where(np.isnan(wanted), np.nan, column)
            values[name] = column
    return RawSeries(
        series.taken_at_ms[place], series.received_at_ms[place], values, series.time_source[place]
    )


def new_in(series: RawSeries, there: RawSeries) -> RawSeries:
    """Return the rows of a series that are not *there* as they are.

    A row without a time of its own that is written where it lies already would be taken for another
    one, and be stored beside it (`hot.py`).
    """
    place = np.searchsorted(there.taken_at_ms, series.taken_at_ms)
    known = np.isin(series.taken_at_ms, there.taken_at_ms)
    for name, column in series.values.items():
        held = np.full(len(column), np.nan)
        if name in there.values:
            held[known] = there.values[name][place[known]]
        known &= np.isnan(column) | (column == held)
    return RawSeries(
        series.taken_at_ms[~known],
        series.received_at_ms[~known],
        {name: column[~known] for name, column in series.values.items()},
        series.time_source[~known],
    )


def _hours_alone(hours: Buckets, rows: RawSeries) -> Buckets:
    """Return the hours of which there are sums and no rows."""
    spoken = np.isin(hours.start_ms, rows.taken_at_ms // HOUR_MS * HOUR_MS)
    count = {name: np.where(spoken, 0, one) for name, one in hours.count.items()}
    return Buckets(hours.start_ms, hours.step_ms, hours.low, hours.mean, hours.high, count)


def _first_ms(year: int, month: int) -> int:
    return int(datetime(year, month, 1, tzinfo=UTC).timestamp()) * SECOND_MS


def move_all(source: ReadingStore, target: Target, reach: Callable[[int], None]) -> Iterator[Moved]:
    """Move every probe's months; *reach* is told how many are done."""
    done = 0
    for seen in source.probes_seen(sure=True):
        for month in months_of(seen):
            yield move(source, target, month)
            done += 1
            reach(done)
    target.tidy(over=True)
