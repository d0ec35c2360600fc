"""Sums of raw readings per step: low, mean, high, count, exact and vectorised.

`summed` makes buckets from raw rows. `HourlyDay` is one channel's day of 24 such buckets in the
form it is kept in beside a packed day, so that a year of hours need not be unpacked.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.storage.protocols import Buckets, Floats, Integers, RawSeries
from underlid.timeline import DAY_MS, HOUR_MS

HOURS: Final = DAY_MS // HOUR_MS


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

    def add_at(self, place: Integers, other: Sums) -> None:
        """Merge *other*'s buckets into this one's at the indices *place* (may repeat)."""
        full = other.count > 0
        place = place[full]
        np.fmin.at(self.low, place, other.low[full])
        np.fmax.at(self.high, place, other.high[full])
        np.add.at(self.total, place, other.total[full])
        np.add.at(self.count, place, other.count[full])


def sums(taken_at_ms: Integers, values: Floats, start_ms: int, n: int, step_ms: int) -> Sums:
    """Return *values*, in time order, summed into *n* buckets of *step_ms* from *start_ms* on."""
    result = Sums.empty(n)
    place = (taken_at_ms - start_ms) // step_ms
    use = ~np.isnan(values) & (place >= 0) & (place < n)
    if not use.any():
        return result
    place, values = place[use], values[use]
    edges = np.flatnonzero(np.diff(place, prepend=place[0] - 1))
    at = place[edges]
    result.low[at] = np.minimum.reduceat(values, edges)
    result.high[at] = np.maximum.reduceat(values, edges)
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
            name: np.where(one.count > 0, one.total / one.count, np.nan)
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


def hourly_blobs(series: RawSeries, day: int) -> dict[str, bytes]:
    """Return the 24 hourly sums of each channel of one day, ready to be kept."""
    return {
        name: _to_blob(sums(series.taken_at_ms, values, day * DAY_MS, HOURS, HOUR_MS))
        for name, values in series.values.items()
        if not np.isnan(values).all()
    }


def _to_blob(hourly: Sums) -> bytes:
    floats = np.concatenate([hourly.low, hourly.total, hourly.high]).astype("<f8")
    planes = floats.view(np.uint8).reshape(-1, 8).T.tobytes()
    return zlib.compress(planes + hourly.count.astype("<u4").tobytes())


def from_blobs(blobs: list[bytes]) -> Sums:
    """Return the hourly sums of several days, one after the other (24 buckets a day)."""
    if not blobs:
        return Sums.empty(0)
    raw = np.frombuffer(b"".join(map(zlib.decompress, blobs)), np.uint8)
    raw = raw.reshape(len(blobs), HOURS * (3 * 8 + 4))
    planes = raw[:, : HOURS * 24].reshape(len(blobs), 8, 3 * HOURS)
    floats = np.ascontiguousarray(planes.transpose(0, 2, 1)).view("<f8")
    floats = floats.reshape(len(blobs), 3, HOURS)
    counts = np.ascontiguousarray(raw[:, HOURS * 24 :]).view("<u4")
    low, total, high = (floats[:, k].ravel() for k in range(3))
    return Sums(low, total, high, counts.ravel().astype(np.int64))
