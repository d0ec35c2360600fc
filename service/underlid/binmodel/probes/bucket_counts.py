"""How many values came in each bucket: kept once for all channels of a probe that agree.

A probe sends its channels together, so their counts hardly ever differ. Where one does, in a bucket, that
is noted beside; a channel that differs often has an array of its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np
import numpy.typing as npt

Counts = npt.NDArray[np.uint8]

APART_MOST: Final = 60
"""Notes that weigh as much as an array of their own."""


class BucketCounts:
    """The counts of one channel, by place in the window."""

    __slots__ = ("_apart", "_common", "_own")

    def __init__(self, common: Counts) -> None:
        self._common = common
        self._own: Counts | None = np.zeros_like(common) if common.any() else None
        self._apart: dict[int, int] = {}

    @property
    def own_bytes(self) -> int:
        """Return what an array of its own takes up."""
        return 0 if self._own is None else self._own.nbytes

    def at(self, place: int) -> int:
        """Return the count at *place*."""
        if self._own is not None:
            return int(self._own[place])
        found = self._apart.get(place)
        return int(self._common[place]) if found is None else found

    def put(self, place: int, count: int, common: int) -> None:
        """Note the count at *place*, where all channels are about to agree on *common*."""
        if self._own is not None:
            self._own[place] = count
        elif count == common:
            self._apart.pop(place, None)
        else:
            self._apart[place] = count
            if len(self._apart) > APART_MOST:
                self._own, self._apart = self.part(0, len(self._common)), {}

    def part(self, begin: int, stop: int) -> Counts:
        """Return the counts of begin ≤ place < stop; not to be written to."""
        if self._own is not None:
            return self._own[begin:stop]
        held = self._common[begin:stop]
        inside = [place for place in self._apart if begin <= place < stop]
        if inside:
            held = held.copy()
            held[[place - begin for place in inside]] = [self._apart[place] for place in inside]
        return held

    def take(self, counts: Counts, common: Counts) -> None:
        """Hold *counts* from now on, beside a new *common*."""
        self._common, self._own = common, None
        places = np.flatnonzero(counts != common)
        if len(places) > APART_MOST:
            self._own, places = counts, places[:0]
        self._apart = dict(zip(places.tolist(), counts[places].tolist(), strict=True))


def shared(channels: Iterable[tuple[BucketCounts, Counts]], size: int) -> Counts:
    """Give each of *channels* its new counts; return what they have in common: the first one's."""
    made = list(channels)
    common = made[0][1].copy() if made else np.zeros(size, np.uint8)
    for one, counts in made:
        one.take(counts, common)
    return common
