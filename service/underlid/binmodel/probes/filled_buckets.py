"""What a store hands over of a probe's past: 5-minute buckets, summed up. Taken in by `hot.py`."""

from __future__ import annotations

from typing import Protocol

from underlid.science.numeric import Floats, Integers


class FilledBuckets(Protocol):
    """What a store hands over: n buckets of one probe."""

    @property
    def start_ms(self) -> Integers:
        """Return the start of every bucket."""
        ...

    @property
    def low(self) -> dict[str, Floats]:
        """Return the lowest raw value per channel."""
        ...

    @property
    def mean(self) -> dict[str, Floats]:
        """Return the mean raw value per channel."""
        ...

    @property
    def high(self) -> dict[str, Floats]:
        """Return the highest raw value per channel."""
        ...

    @property
    def count(self) -> dict[str, Integers]:
        """Return how many values there were per channel."""
        ...
