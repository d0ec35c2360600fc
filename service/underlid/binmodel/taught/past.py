"""The last twelve days of a bin as its lessons read them: hourly means, and what the keeper did.

Twelve days of a window of fourteen: a service that has just been started learns the same as one that
never stopped, whatever the hour. Nothing is learnt from before a bin was moved.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np

from underlid.binmodel.hour_means import hour_means
from underlid.binmodel.lids.hours import OPENS
from underlid.binmodel.probes.hot import BUCKET_MS, BUCKETS_PER_HOUR
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry, Moved
from underlid.science.numeric import Flags, Floats
from underlid.timeline import HOUR_MS

OPEN_SHOWS_H: Final = 2.0
"""So long the air under a lid that was opened is not what it was (our judgement)."""

DAYS: Final = 12
HOURS: Final = DAYS * 24


class Past:
    """Hourly means, oldest first, NaN where unknown; hour 0 begins at `start_ms`."""

    def __init__(self, window: BinWindow) -> None:
        self.window = window
        self.until_ms = window.end * BUCKET_MS
        self.start_ms = self.until_ms - HOURS * HOUR_MS
        moves = [one.at_ms for one in window.entries if isinstance(one.what, Moved)]
        self.moved_ms = max((at for at in moves if at < self.until_ms), default=self.start_ms)
        self.entries: tuple[Entry, ...] = tuple(
            one
            for one in window.entries
            if max(self.start_ms, self.moved_ms) <= one.at_ms < self.until_ms
        )
        self._hourly: dict[str, Floats] = {}

    def hourly(self, channel: str) -> Floats:
        """Return the hourly means of a calibrated channel."""
        if channel not in self._hourly:
            buckets = HOURS * BUCKETS_PER_HOUR
            means = hour_means(self.window.means(channel, buckets))
            means[: max(0, int(np.ceil(self.hour_of(self.moved_ms))))] = np.nan
            self._hourly[channel] = means
        return self._hourly[channel]

    def hour_of(self, at_ms: int) -> float:
        """Return hours since `start_ms`."""
        return (at_ms - self.start_ms) / HOUR_MS

    def at_ms(self, hour: float) -> int:
        """Return the time of an hour."""
        return self.start_ms + round(hour * HOUR_MS)

    def opened(self) -> Flags:
        """Return which hours are those of an open lid by the journal, or come shortly after."""
        return self.near(OPENS, 0.0, OPEN_SHOWS_H)

    def near(self, kinds: tuple[type, ...], before_h: float, after_h: float) -> Flags:
        """Return which hours lie from *before_h* before to *after_h* after an entry of *kinds*."""
        hours = np.arange(HOURS)
        flags: Flags = np.zeros(HOURS, dtype=np.bool_)
        for entry in self.entries:
            if isinstance(entry.what, kinds):
                since = hours - self.hour_of(entry.at_ms)
                flags |= (since > -1.0 - before_h) & (since < after_h)
        return flags


def with_short_gaps_closed(values: Floats, most_h: int = 2) -> Floats:
    """Return hourly values with gaps of up to *most_h* hours bridged by straight lines.

    >>> with_short_gaps_closed(np.array([1.0, np.nan, 3.0, np.nan, np.nan, np.nan, 7.0])).tolist()
    [1.0, 2.0, 3.0, nan, nan, nan, 7.0]
    """
    known = np.flatnonzero(~np.isnan(values))
    if len(known) in (0, len(values)):
        return values
    filled: Floats = np.interp(np.arange(len(values)), known, values[known])
    filled[: known[0]] = np.nan
    filled[known[-1] + 1 :] = np.nan
    for before, after in pairwise(known.tolist()):
        if after - before - 1 > most_h:
            filled[before + 1 : after] = np.nan
    return filled
