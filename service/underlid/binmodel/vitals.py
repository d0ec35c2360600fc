"""How a probe itself is: when it last spoke, how often it does, what it said that is not believable.

Kept beside the hot means (`hot.py`), which hold only values that a working sensor can say.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from underlid.readings.plausibility import doubt
from underlid.readings.values import Reading

INTERVAL_WEIGHT: Final = 0.1
"""Weight of a new gap in the usual interval: a mean over about ten readings."""

GAP_MOST: Final = 10.0
"""A gap counts at most so many usual intervals, so that an outage does not make a probe slow."""


class Vitals:
    """The vital signs of one probe."""

    __slots__ = ("doubted", "last_values", "newest_taken_ms", "usual_interval_ms")

    def __init__(self) -> None:
        self.newest_taken_ms = -1
        self.usual_interval_ms = 0.0
        self.last_values: dict[str, tuple[int, float]] = {}
        """Channel -> when a believable value was last taken, and the value."""
        self.doubted: dict[str, tuple[int, str]] = {}
        """Channel -> when a value was last not believable, and why."""

    def add(self, one: Reading) -> None:
        """Take one reading in."""
        at_ms = one.taken_at_ms
        for name, value in one.values.items():
            why = doubt(name, value)
            if why is not None:
                if at_ms >= self.doubted.get(name, (-1, ""))[0]:
                    self.doubted[name] = (at_ms, why.value)
            elif at_ms >= self.last_values.get(name, (-1, 0.0))[0]:
                self.last_values[name] = (at_ms, value)
        gap_ms = at_ms - self.newest_taken_ms
        if gap_ms <= 0:
            return
        if self.newest_taken_ms >= 0:
            usual = self.usual_interval_ms or float(gap_ms)
            gap = min(float(gap_ms), GAP_MOST * usual)
            self.usual_interval_ms = usual + INTERVAL_WEIGHT * (gap - usual)
        self.newest_taken_ms = at_ms

    def fill(self, newest_taken_ms: int, values: Mapping[str, float], interval_ms: float) -> None:
        """Take over what a store knows, after a restart."""
        self.usual_interval_ms = interval_ms
        self.newest_taken_ms = newest_taken_ms
        for name, value in values.items():
            why = doubt(name, value)
            if why is None:
                self.last_values[name] = (newest_taken_ms, value)
            else:
                self.doubted[name] = (newest_taken_ms, why.value)
