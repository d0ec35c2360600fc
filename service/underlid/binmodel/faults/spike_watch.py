"""The buckets of a bin's channels whose mean is a spike, kept as they close.

What a spike is says `spikes.py`; which are worth a word, `spikes_told.py`.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from underlid.binmodel.faults.fault import Key
from underlid.binmodel.faults.spikes import spikes
from underlid.binmodel.probes.hot import EMPTY, STEP_OF, WINDOW_BUCKETS, HotProbe
from underlid.binmodel.probes.lone import SPIKE_OF
from underlid.science.numeric import Floats

TAIL: Final = 48
"""Buckets before the newest in which spikes are looked for; slow probes need more."""

SLOW_TAIL: Final = 288
TAIL_LEAST: Final = 12
FINAL_AFTER: Final = 3
"""A value's verdict as a spike is final when so many have come after it."""

HALF_CODES: Final = {name: floor / STEP_OF[name] / 2.0 for name, floor in SPIKE_OF.items()}
"""Where no mean is farther than this from the one before, there is no spike."""

WIDE: Final = 65536


class Calm(NamedTuple):
    """The newest code of a channel that has not jumped, the lowest and the highest."""

    code: int
    low: int
    high: int


class SpikeWatch:
    """The spikes of the channels of one bin, and which channels are calm."""

    def __init__(self) -> None:
        self.found: dict[Key, list[int]] = {}
        """Buckets of spikes, ascending."""
        self._calm: dict[Key, Calm] = {}
        """Channels without a jump in the buckets that are looked at."""

    def rewind(self) -> None:
        """Forget what is calm: data has changed."""
        self._calm.clear()

    def range_of(self, key: Key) -> float:
        """Return a bound for how far a channel has moved in the buckets looked at, in its unit."""
        calm = self._calm.get(key)
        return (WIDE if calm is None else calm.high - calm.low) * STEP_OF[key[1]]

    def advance(self, probe: HotProbe, key: Key, done: int, end: int) -> int | None:
        """Look at the buckets done ≤ number < end; return the first spike that came or went."""
        if end == done + 1 and self._stays_calm(probe, key, done):
            return None
        return self._look(probe, key, done, end)

    def _stays_calm(self, probe: HotProbe, key: Key, done: int) -> bool:
        """Tell whether a calm channel is so with one bucket more, which drops the oldest."""
        held = self._calm.pop(key, None)
        if held is None:
            return False
        code = probe.code(key[1], done)
        if code == EMPTY:
            tail = probe.codes(key[1], done - TAIL, done + 1)
            if np.count_nonzero(tail != EMPTY) < TAIL_LEAST:
                return False
            self._calm[key] = held
            return True
        if abs(code - held.code) > HALF_CODES[key[1]]:
            return False
        self._calm[key] = Calm(code, min(held.low, code), max(held.high, code))
        return True

    def _look(self, probe: HotProbe, key: Key, done: int, end: int) -> int | None:
        channel = key[1]
        before = self.found.get(key, [])
        start = done - TAIL
        codes = probe.codes(channel, start, end)
        at = np.flatnonzero(codes != EMPTY)
        slow = len(at) < TAIL_LEAST
        if slow:
            start = done - SLOW_TAIL
            codes = probe.codes(channel, start, end)
            at = np.flatnonzero(codes != EMPTY)
        if not len(at):
            return None
        known = codes[at].astype(np.int64)
        late = before and before[-1] >= start
        if not late and not (np.abs(known[1:] - known[:-1]) > HALF_CODES[channel]).any():
            if not slow and end == done + 1:
                self._calm[key] = Calm(int(known[-1]), int(known.min()), int(known.max()))
            return None
        first = max(0, int(np.searchsorted(at, done - start)) - FINAL_AFTER)
        since = start + int(at[first]) if first < len(at) else end
        values: Floats = known * np.float64(STEP_OF[channel])
        now = [start + int(at[place]) for place in spikes(values, SPIKE_OF[channel], first)]
        kept = [one for one in before if end - WINDOW_BUCKETS <= one < since]
        if now or kept:
            self.found[key] = kept + now
        else:
            self.found.pop(key, None)
        return min(set(now) ^ {one for one in before if one >= since}, default=None)
