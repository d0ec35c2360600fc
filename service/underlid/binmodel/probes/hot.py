"""The recent past of one probe in memory: 5-minute means of 14 days, two bytes a bucket.

Raw values are kept (a new calibration corrects the past). A bucket in which any value of a channel
was not believable is spoiled: its mean is not used and its count says that something came. Late
data re-opens its bucket. Joining probes and calibrating is `window.py`.

Means are kept as whole multiples of a power of two, far finer than the sensors' steps. So they do
not depend on the order in which readings came, nor on whether they came from a probe or from the
store after a restart; and five channels of a bin fit in about 46 kB (`bucket_counts.py`).

A mean hides a short spike, so a lone value far from all others of its bucket is left out of it, and
the bucket is marked. Probe and store give that alike: from lowest, mean, highest and count.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.binmodel.probes.bucket_counts import BucketCounts, Counts, shared
from underlid.binmodel.probes.filled_buckets import FilledBuckets
from underlid.binmodel.probes.lone import LONE, SPIKE_OF, without_lone
from underlid.readings.channels import CHANNELS
from underlid.readings.plausibility import ADC_RAILS
from underlid.science.numeric import Floats
from underlid.timeline import MINUTE_MS

BUCKET_MS: Final = 5 * MINUTE_MS
BUCKETS_PER_HOUR: Final = 12
BUCKETS_PER_DAY: Final = 288

WINDOW_BUCKETS: Final = 14 * BUCKETS_PER_DAY
"""What a judgement may look back on: two weeks."""

HELD_BUCKETS: Final = WINDOW_BUCKETS + 2 * BUCKETS_PER_HOUR
"""What is held: parts of an outlook are made at a moment of the last hour, and look back from there."""

SLACK_BUCKETS: Final = BUCKETS_PER_DAY // 2
"""Room ahead, so that the arrays are moved twice a day and not with every bucket."""

CAPACITY: Final = HELD_BUCKETS + SLACK_BUCKETS

OPEN_BUCKETS_MOST: Final = 8192
"""Buckets of one probe that may wait to be settled: a back-fill of four weeks. Older ones go."""

EMPTY: Final = -32768
COUNT_MOST: Final = 127
STEP_OF: Final[dict[str, float]] = {
    "bed_temp_c": 1 / 256,
    "headspace_temp_c": 1 / 256,
    "headspace_rh_pct": 1 / 256,
    "lid_temp_c": 1 / 256,
    "shed_temp_c": 1 / 256,
    "shed_rh_pct": 1 / 256,
    "moisture_pct": 1 / 256,
    "soil_raw": 2.0,
    "soil_index": 1 / 8192,
}
"""The channels that are judged, and the step their means are kept in: 0.004 K or % (a sensor
resolves 0.01 at best), 0.0001 of an index; counts in twos hold a 16-bit converter."""

LIMITS_OF: Final = {name: (CHANNELS[name].low, CHANNELS[name].high) for name in STEP_OF}


class HotChannel:
    """The buckets of one channel: `codes` are means in steps, `counts` saturate at 127."""

    __slots__ = ("codes", "counts", "high", "low", "soil", "spike", "step")

    def __init__(self, channel: str, common: Counts) -> None:
        self.step = STEP_OF[channel]
        self.spike = SPIKE_OF[channel]
        self.low, self.high = LIMITS_OF[channel]
        self.soil = channel == "soil_raw"
        self.codes = np.full(CAPACITY, EMPTY, dtype=np.int16)
        self.counts = BucketCounts(common)

    def spoiled(self, low: float, high: float) -> bool:
        """Tell whether a bucket with these extremes holds a value that is not believable."""
        if low < self.low or high > self.high:
            return True
        return self.soil and (low in ADC_RAILS or high in ADC_RAILS)

    def merge(self, at: int, values: list[float]) -> int:
        """Take *values* into the bucket at index *at*; return the count with its mark, not noted yet."""
        low, high, count = min(values), max(values), len(values)
        held_count = self.counts.at(at)
        before, marked = held_count & COUNT_MOST, held_count & LONE
        code = int(self.codes[at])
        all_counted = min(before + count, COUNT_MOST)
        if self.spoiled(low, high) or (before and code == EMPTY):
            self.codes[at] = EMPTY
            return all_counted | marked
        total = math.fsum(values)
        if before:
            held = code * self.step
            total += held * before
            low, high, count = min(low, held), max(high, held), before + count
        mean, lone = without_lone(low, total / count, high, count, self.spike)
        self.codes[at] = round(mean / self.step)
        return all_counted | marked | (LONE if lone else 0)


class HotProbe:
    """All judged channels of one probe. Bucket numbers are time // 5 minutes."""

    __slots__ = ("_common", "_open", "channels", "first", "newest")

    def __init__(self) -> None:
        self.first: int | None = None
        self.newest: int | None = None
        self.channels: dict[str, HotChannel] = {}
        self._open: dict[int, dict[str, dict[int, float]]] = {}
        self._common = np.zeros(CAPACITY, np.uint8)

    def add(self, taken_at_ms: int, values: dict[str, float]) -> None:
        """Note one reading; it counts from `settle` on. The same instant again replaces it."""
        bucket = taken_at_ms // BUCKET_MS
        part = self._open.get(bucket)
        if part is None:
            part = self._open[bucket] = {}
            if len(self._open) > OPEN_BUCKETS_MOST:
                del self._open[min(self._open)]
        for channel, value in values.items():
            if channel in part:
                part[channel][taken_at_ms] = value
            elif channel in STEP_OF:
                part[channel] = {taken_at_ms: value}

    def settle(self, end: int) -> int | None:
        """Close all buckets before number *end*; return the earliest that changed, if any."""
        ready = [bucket for bucket in self._open if bucket < end]
        if not ready:
            return None
        ready.sort()
        self._make_room(ready[-1])
        earliest = None
        for bucket in ready:
            part = self._open.pop(bucket)
            at = bucket - (self.first or 0)
            if at < 0:
                continue
            if part:
                self._merge(at, part)
                self._note(bucket)
                earliest = bucket if earliest is None else earliest
        return earliest

    def fill(self, buckets: FilledBuckets) -> None:
        """Take over what a store has summed up, after a restart."""
        numbers = buckets.start_ms // BUCKET_MS
        if not len(numbers):
            return
        self._make_room(int(numbers[-1]))
        first = self.first or 0
        filled = {name: hot.counts.part(0, CAPACITY).copy() for name, hot in self.channels.items()}
        for channel in STEP_OF:
            if channel not in buckets.count:
                continue
            counts = buckets.count[channel]
            use = (counts > 0) & (numbers >= first)
            if not use.any():
                continue
            hot = self._channel(channel)
            at = numbers[use] - first
            low, high = buckets.low[channel][use], buckets.high[channel][use]
            came = filled.setdefault(channel, np.zeros(CAPACITY, np.uint8))
            came[at] = np.minimum(counts[use], COUNT_MOST)
            good = (low >= hot.low) & (high <= hot.high)
            if hot.soil:
                good &= ~(np.isin(low, ADC_RAILS) | np.isin(high, ADC_RAILS))
            mean = np.where(good, buckets.mean[channel][use], 0.0)
            for one in np.flatnonzero(good & (high - low > hot.spike)).tolist():
                mean[one], lone = without_lone(
                    low[one], mean[one], high[one], int(counts[use][one]), hot.spike
                )
                came[at[one]] |= LONE if lone else 0
            hot.codes[at] = np.where(good, np.rint(mean / hot.step), EMPTY)
            self._note(int(numbers[use][-1]))
        self._share(filled)

    def means(self, channel: str, start: int, end: int) -> Floats:
        """Return the raw means of buckets start ≤ number < end, NaN where there is none."""
        hot = self.channels.get(channel)
        if hot is None or self.first is None:
            return np.full(end - start, np.nan)
        begin, stop = start - self.first, end - self.first
        codes = hot.codes[max(begin, 0) : max(stop, 0)]
        known: Floats = codes.astype(np.float64) * hot.step
        known[codes == EMPTY] = np.nan
        if len(codes) == end - start:
            return known
        result = np.full(end - start, np.nan)
        result[max(-begin, 0) :][: len(known)] = known
        return result

    def counts(self, channel: str, start: int, end: int) -> npt.NDArray[np.uint8]:
        """Return how many values came in the buckets start ≤ number < end that are held."""
        hot = self.channels.get(channel)
        if hot is None or self.first is None:
            return np.zeros(0, dtype=np.uint8)
        held = hot.counts.part(max(start - self.first, 0), max(end - self.first, 0))
        return held & np.uint8(COUNT_MOST)

    def marked(self, channel: str, start: int, end: int) -> list[int]:
        """Return the buckets start ≤ number < end out of whose mean a lone value was left."""
        hot = self.channels.get(channel)
        if hot is None or self.first is None:
            return []
        begin = max(start - self.first, 0)
        at = np.flatnonzero(hot.counts.part(begin, max(end - self.first, 0)) >= LONE)
        return [self.first + begin + one for one in at.tolist()]

    def codes(self, channel: str, start: int, end: int) -> npt.NDArray[np.int16]:
        """Return the means of buckets start ≤ number < end in steps, EMPTY where there is none."""
        hot = self.channels.get(channel)
        if hot is not None and self.first is not None and start >= self.first:
            held = hot.codes[start - self.first : end - self.first]
            if len(held) == end - start:
                return held
        codes = np.full(end - start, EMPTY, np.int16)
        self.copy_into(channel, start, end, codes, np.zeros(end - start, np.uint8))
        return codes

    def empty_before(self, channel: str, start: int, end: int) -> int:
        """Return in how many of the buckets start ≤ number < end nothing has come before the first."""
        known = self.codes(channel, start, end) != EMPTY
        first = int(known.argmax())
        return first if known[first] else len(known)

    def code(self, channel: str, bucket: int) -> int:
        """Return the mean of one bucket in steps, EMPTY where there is none."""
        hot, at = self.channels.get(channel), bucket - (self.first or bucket + 1)
        return int(hot.codes[at]) if hot is not None and 0 <= at < CAPACITY else EMPTY

    def copy_into(
        self, channel: str, start: int, end: int, codes: npt.NDArray[np.int16], counts: Counts
    ) -> None:
        """Write means in steps, and counts with their mark, of start ≤ number < end; rest stays."""
        hot = self.channels.get(channel)
        if hot is None or self.first is None:
            return
        begin, stop = max(start, self.first), min(end, self.first + CAPACITY)
        if begin >= stop:
            return
        held = slice(begin - self.first, stop - self.first)
        codes[begin - start : stop - start] = hot.codes[held]
        counts[begin - start : stop - start] = hot.counts.part(held.start, held.stop)

    def size_bytes(self) -> int:
        """Return what the arrays take up."""
        own = sum(hot.codes.nbytes + hot.counts.own_bytes for hot in self.channels.values())
        return own + self._common.nbytes

    def _channel(self, channel: str) -> HotChannel:
        hot = self.channels.get(channel)
        if hot is None:
            hot = self.channels[channel] = HotChannel(channel, self._common)
        return hot

    def _merge(self, at: int, part: dict[str, dict[int, float]]) -> None:
        """Take the values of one bucket into its channels."""
        came = {name: self._channel(name).merge(at, list(of.values())) for name, of in part.items()}
        common = next(iter(came.values()))
        for name, hot in self.channels.items():
            hot.counts.put(at, came[name] if name in came else hot.counts.at(at), common)
        self._common[at] = common

    def _share(self, counts: dict[str, Counts]) -> None:
        """Hold new counts, with what they have in common once."""
        pairs = [(self.channels[name].counts, one) for name, one in counts.items()]
        self._common = shared(pairs, CAPACITY)

    def _note(self, bucket: int) -> None:
        if self.newest is None or bucket > self.newest:
            self.newest = bucket

    def _make_room(self, bucket: int) -> None:
        if self.first is None:
            self.first = bucket - HELD_BUCKETS
            return
        by = bucket - (self.first + CAPACITY - 1) + SLACK_BUCKETS - 1
        if by >= SLACK_BUCKETS:
            moved = {}
            for name, hot in self.channels.items():
                _move(hot.codes, by, EMPTY)
                moved[name] = hot.counts.part(0, CAPACITY).copy()
                _move(moved[name], by, 0)
            self._share(moved)
            self.first += by


def _move(array: npt.NDArray[np.int16] | Counts, by: int, nothing: int) -> None:
    """Forget the oldest *by* buckets and make room ahead."""
    by = min(by, CAPACITY)
    array[: CAPACITY - by] = array[by:]
    array[CAPACITY - by :] = nothing
