"""The last days of a bin's channels hour by hour, as the slow detectors look at them.

Raw values, nothing left out: what a detector finds must not depend on what another found, nor on
when it was asked. Hours begin at the same minutes whatever the moment, so that the same data gives
the same table live, after a restart and in a replay.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.binmodel.faults.fault import Key
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR, EMPTY, HotProbe
from underlid.science.numeric import Floats, Integers

LOOKBACK_H: Final = 8 * 24
"""What a verdict may look back on; with it half of the window is judged alike after a restart."""

TRIM_FROM: Final = 5
"""Of so many buckets in an hour the highest and the lowest are left out of its mean."""

Codes = npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class Table:
    """Hours first_h ≤ number < first_h + hours of each channel, a row a channel."""

    keys: tuple[Key, ...]
    first_h: int
    first_bucket: int
    """The first bucket of the first hour."""
    mean: Floats
    low: Floats
    high: Floats
    known: Integers
    """Buckets with a believable mean."""
    spoiled: Integers
    """Buckets in which something came that no working sensor says."""
    codes: Codes
    """The means themselves, in the steps of `steps`."""
    counts: npt.NDArray[np.uint8]
    steps: Floats

    @property
    def hours(self) -> int:
        """Return how many hours there are."""
        return int(self.mean.shape[1])

    def row(self, channel: str) -> int | None:
        """Return the first row of *channel*."""
        for at, key in enumerate(self.keys):
            if key[1] == channel:
                return at
        return None

    def bucket_of(self, at: int) -> int:
        """Return the first bucket of the hour at index *at*."""
        return self.first_bucket + at * BUCKETS_PER_HOUR

    def nonsense(self, row: int, start: int) -> list[int]:
        """Return the spoiled buckets ≥ *start*, counted from the table's first."""
        spoiled = (self.counts[row, start:] > 0) & (self.codes[row, start:] == EMPTY)
        found: list[int] = (np.flatnonzero(spoiled) + start).tolist()
        return found

    def samples(self, row: int, start: int = 0) -> tuple[Integers, Floats]:
        """Return the buckets, counted from the table's first, and means that are known."""
        codes = self.codes[row, start:]
        at = np.flatnonzero(codes != EMPTY)
        return at + start, codes[at] * self.steps[row]


def table_of(
    probes: Mapping[str, HotProbe], keys: Sequence[Key], first_h: int, end_h: int, offset: int
) -> Table:
    """Return the hours first_h ≤ number < end_h; hour n begins at bucket 12 n + *offset*."""
    hours = end_h - first_h
    first = first_h * BUCKETS_PER_HOUR + offset
    end = end_h * BUCKETS_PER_HOUR + offset
    codes = np.full((len(keys), hours * BUCKETS_PER_HOUR), EMPTY, np.int16)
    counts = np.zeros(codes.shape, np.uint8)
    for row, (probe, channel) in enumerate(keys):
        probes[probe].copy_into(channel, first, end, codes[row], counts[row])
    shape = (len(keys), hours, BUCKETS_PER_HOUR)
    each = codes.reshape(shape)
    is_known = each != EMPTY
    known = is_known.sum(2)
    low = np.where(is_known, each, 32767).min(2)
    high = each.max(2)
    total = np.where(is_known, each, 0).sum(2, dtype=np.int64)
    trim = known >= TRIM_FROM
    total = np.where(trim, total - low - high, total)
    steps = np.array([probes[probe].channels[channel].step for probe, channel in keys])
    scale = np.where(known > 0, steps[:, None], np.nan)
    return Table(
        tuple(keys),
        first_h,
        first,
        total / np.maximum(known - 2 * trim, 1) * scale,
        low * scale,
        high * scale,
        known,
        ((counts.reshape(shape) > 0) & ~is_known).sum(2),
        codes,
        counts,
        steps,
    )
