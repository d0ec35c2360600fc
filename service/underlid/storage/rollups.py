"""Sums of raw readings per step: low, mean, high, count, vectorised.

`sums_of` makes buckets from raw rows. `hourly_blobs` makes a day of 24 such buckets a channel in
the form that is kept beside a packed day, so that a year of hours need not be unpacked. Sums are
kept, not means, so that hours add up to days and late rows to their hour.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.storage.protocols import Buckets, Floats, Integers, RawSeries
from underlid.storage.trouble import damaged
from underlid.timeline import DAY_MS, HOUR_MS

HOURS: Final = DAY_MS // HOUR_MS

_BLOB_BYTES: Final = HOURS * (3 * 8 + 4)


@dataclass(frozen=True, slots=True)
class Sums:
    """Per bucket of one channel: n lows, sums, highs and counts; NaN and 0 where empty."""

    low: Floats
    total: Floats
    high: Floats
    count: Integers

    @classmethod
    def empty(cls, n: int) -> Sums:
        """Return *n* empty buckets."""
        return cls(np.full(n, np.nan), np.zeros(n), np.full(n, np.nan), np.zeros(n, np.int64))

    def at(self, which: Integers) -> Sums:
        """Return the buckets at the indices *which*."""
        return Sums(self.low[which], self.total[which], self.high[which], self.count[which])

    def add_at(self, place: Integers, other: Sums) -> None:
        """Add *other*'s buckets to this one's at the indices *place*, ascending, may repeat."""
        full = np.flatnonzero(other.count)
        if not len(full):
            return
        place, other = place[full], other.at(full)
        edges = np.flatnonzero(np.diff(place, prepend=place[0] - 1))
        at = place[edges]
        self.low[at] = np.fmin(self.low[at], np.minimum.reduceat(other.low, edges))
        self.high[at] = np.fmax(self.high[at], np.maximum.reduceat(other.high, edges))
        with np.errstate(over="ignore"):
            self.total[at] += np.add.reduceat(other.total, edges)
        self.count[at] += np.add.reduceat(other.count, edges)

    def or_else(self, other: Sums) -> Sums:
        """Return these buckets, *other*'s where these are empty."""
        mine = self.count > 0
        return Sums(
            np.where(mine, self.low, other.low),
            np.where(mine, self.total, other.total),
            np.where(mine, self.high, other.high),
            np.where(mine, self.count, other.count),
        )


def sums_of(series: RawSeries, start_ms: int, n: int, step_ms: int) -> dict[str, Sums]:
    """Return every channel of *series* summed into *n* buckets of *step_ms* from *start_ms* on."""
    place = (series.taken_at_ms - start_ms) // step_ms
    inside = (place >= 0) & (place < n)
    if not inside.all():
        place = place[inside]
    everywhere = _edges(place)
    result = {}
    for name, column in series.values.items():
        values = column if len(place) == len(column) else column[inside]
        said = ~np.isnan(values)
        if said.all():
            result[name] = _summed(place, values, everywhere, n)
        else:
            result[name] = _summed(place[said], values[said], _edges(place[said]), n)
    return result


def _edges(place: Integers) -> Integers:
    """Return where a new bucket begins."""
    return np.flatnonzero(np.diff(place, prepend=-1))


def _summed(place: Integers, values: Floats, edges: Integers, n: int) -> Sums:
    result = Sums.empty(n)
    if len(values):
        at = place[edges]
        result.low[at] = np.minimum.reduceat(values, edges)
        result.high[at] = np.maximum.reduceat(values, edges)
        with np.errstate(over="ignore"):
            result.total[at] = np.add.reduceat(values, edges)
        result.count[at] = np.diff(edges, append=len(place))
    return result


def bucket_starts(start_ms: int, end_ms: int, step_ms: int) -> Integers:
    """Return the starts of the steps that touch [start_ms, end_ms), on whole multiples of a step.

    >>> bucket_starts(250, 900, 300).tolist()
    [0, 300, 600]
    """
    first = start_ms // step_ms
    return np.arange(first, -(-end_ms // step_ms), dtype=np.int64) * step_ms


def buckets_of(starts: Integers, step_ms: int, by_channel: dict[str, Sums]) -> Buckets:
    """Return the sums of several channels as what a store answers."""
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = {
            name: np.clip(one.total / one.count, one.low, one.high)  # never rounded past an end
            for name, one in by_channel.items()
        }
    return Buckets(
        start_ms=starts,
        step_ms=step_ms,
        low={name: one.low for name, one in by_channel.items()},
        mean=mean,
        high={name: one.high for name, one in by_channel.items()},
        count={name: one.count for name, one in by_channel.items()},
    )


def hours_of(series: RawSeries, day: int) -> dict[str, Sums]:
    """Return the 24 hourly sums of each channel that said anything on *day*."""
    return {
        name: one
        for name, one in sums_of(series, day * DAY_MS, HOURS, HOUR_MS).items()
        if one.count.any()
    }


def to_blob(hourly: Sums) -> bytes:
    """Return 24 hourly sums in the form in which they are kept."""
    floats = np.concatenate([hourly.low, hourly.total, hourly.high]).astype("<f8")
    planes = floats.view(np.uint8).reshape(-1, 8).T.tobytes()
    return zlib.compress(planes + hourly.count.astype("<u4").tobytes())


def from_blobs(blobs: list[bytes]) -> Sums:
    """Return the hourly sums of several days, one after the other (24 buckets a day)."""
    if not blobs:
        return Sums.empty(0)
    try:
        raw = np.frombuffer(b"".join(map(zlib.decompress, blobs)), np.uint8)
        raw = raw.reshape(len(blobs), _BLOB_BYTES)
    except (zlib.error, ValueError) as error:
        raise damaged("the hourly sums of a packed day", error) from error
    planes = raw[:, : HOURS * 24].reshape(len(blobs), 8, 3 * HOURS)
    floats = np.ascontiguousarray(planes.transpose(0, 2, 1)).view("<f8")
    floats = floats.reshape(len(blobs), 3, HOURS)
    counts = np.ascontiguousarray(raw[:, HOURS * 24 :]).view("<u4")
    low, total, high = (floats[:, k].ravel() for k in range(3))
    return Sums(low, total, high, counts.ravel().astype(np.int64))
