"""The buckets of a bin's channels whose mean is a spike, kept as they close.

What a spike is says `spikes.py`; which are worth a word, `spikes_told.py`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import Key
from underlid.binmodel.faults.spikes import spikes
from underlid.binmodel.hot import EMPTY, STEP_OF, WINDOW_BUCKETS, HotProbe
from underlid.binmodel.lone import SPIKE_OF
from underlid.science.numeric import Floats

TAIL: Final = 48
"""Buckets before the newest in which spikes are looked for; slow probes need more."""

SLOW_TAIL: Final = 288
TAIL_LEAST: Final = 12
FINAL_AFTER: Final = 3
"""A value's verdict as a spike is final when so many have come after it."""

SPIKE_CODES: Final = {channel: floor / STEP_OF[channel] for channel, floor in SPIKE_OF.items()}


class SpikeWatch:
    """The spikes of the channels of one bin, and which channels are calm."""

    def __init__(self) -> None:
        self.found: dict[Key, list[int]] = {}
        """Buckets of spikes, ascending."""
        self._calm: dict[Key, tuple[int, int]] = {}
        """Lowest and highest code of the channels that have lain within a spike's distance since."""

    def rewind(self) -> None:
        """Forget what is calm: data has changed."""
        self._calm.clear()

    def is_calm(self, key: Key) -> bool:
        """Tell whether the channel's last buckets lie so near to each other that none is odd."""
        return key in self._calm

    def advance(self, probe: HotProbe, key: Key, done: int, end: int) -> int | None:
        """Look at the buckets done ≤ number < end; return the first spike that came or went."""
        if end == done + 1 and self._stays_calm(probe.code(key[1], done), key):
            return None
        return self._look(probe, key, done, end)

    def _stays_calm(self, code: int, key: Key) -> bool:
        """Tell whether a calm channel is so with one bucket more.

        The newer value drops an older one, so what lay within a spike's distance still does.
        """
        held = self._calm.pop(key, None)
        if held is None or code == EMPTY:
            return False
        low, high = min(held[0], code), max(held[1], code)
        if high - low > SPIKE_CODES[key[1]]:
            return False
        self._calm[key] = low, high
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
        known = codes[at]
        low, high = int(known.min()), int(known.max())
        if not before and high - low <= SPIKE_CODES[channel]:
            if not slow and end == done + 1:
                self._calm[key] = low, high
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
