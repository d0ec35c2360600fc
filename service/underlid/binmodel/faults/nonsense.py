"""Nonsense: a channel says, again and again, what no working sensor says.

The buckets it falls in are left out anyway (`probes/hot.py`); when it is most of what comes, nothing of the
channel is believed meanwhile. When it is less, but comes again and again, as from a loose plug, the rest is
believed and the keeper is told all the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from underlid.binmodel.faults.episodes import Episode, Kind, episode
from underlid.binmodel.faults.fault import Key, Span
from underlid.binmodel.faults.scene import Begin, Scene
from underlid.binmodel.faults.table import LOOKBACK_H, Table
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.binmodel.probes.lone import SPIKE_OF
from underlid.readings.plausibility import ADC_RAILS
from underlid.science.numeric import Integers

MOST_SHARE: Final = 0.5
SOIL_SHARE: Final = 0.8
"""Share of an hour's buckets. A soil probe of twelve bits may pass 1023, the end of ten bits, in good
health."""

LEAST: Final = 3
"""Of fewer readings in an hour three hours are looked at: one bad value of a slow probe is not most."""

SLOW_H: Final = 3
SLOW_LEAST: Final = 2

TOLD: Final = Kind(told_from=4, apart=BUCKETS_PER_HOUR)
"""A sensor that starts anew says nonsense once; four times in a day, an hour apart, it is at fault (our
judgement)."""

INNER_RAILS: Final = ADC_RAILS[1:3]
"""Ends of ten and twelve bits: a probe of more bits passes them."""

PASSES_WITHIN: Final = SPIKE_OF["soil_raw"]
"""A soil probe that says so little less or more before and after has passed the end of fewer bits."""


def begins(scene: Scene, at: int) -> list[Begin]:
    """Return the channels of which an hour of index ≥ *at* was mostly nonsense."""
    table = scene.table
    spoiled = table.spoiled[:, at:]
    if not spoiled.any():
        return []
    known = table.known[:, at:]
    share = np.array([SOIL_SHARE if name == "soil_raw" else MOST_SHARE for _, name in table.keys])
    came = spoiled + known
    mostly = (spoiled >= LEAST) & (spoiled >= share[:, None] * came)
    slow = (came < LEAST) & (spoiled > 0)
    if slow.any():
        bad, all_came = _lately(table.spoiled)[:, at:], _lately(table.known + table.spoiled)[:, at:]
        mostly |= (
            slow & (all_came >= LEAST) & (bad >= SLOW_LEAST) & (bad >= share[:, None] * all_came)
        )
    return [
        Begin(at + hour, row, table.bucket_of(at + hour))
        for row, hour in np.argwhere(mostly).tolist()
    ]


def _lately(counts: Integers) -> Integers:
    """Return for each hour the sum of it and the two before."""
    sums = np.cumsum(counts, axis=1)
    sums[:, SLOW_H:] -= sums[:, :-SLOW_H].copy()
    return sums


def ended(scene: Scene, row: int, at: int, span: Span) -> int | None:  # noqa: ARG001
    """Return the bucket from which the channel makes sense again."""
    table = scene.table
    if table.spoiled[row, at] or not table.known[row, at]:
        return None
    return table.bucket_of(at)


class NonsenseWatch:
    """The buckets in which channels said nonsense, from whole hour to whole hour."""

    def __init__(self) -> None:
        self._found: dict[Key, list[int]] = {}

    def rewind(self, bucket: int) -> None:
        """Forget what was found from *bucket* on."""
        for key, found in self._found.items():
            self._found[key] = [one for one in found if one < bucket]

    def note(self, table: Table, at: int) -> None:
        """Take in the hours of index ≥ *at*."""
        oldest = table.bucket_of(table.hours - LOOKBACK_H)
        for key, found in self._found.items():
            self._found[key] = [one for one in found if one >= oldest]
        for row in np.flatnonzero(table.spoiled[:, at:].any(axis=1)).tolist():
            new = table.nonsense(row, at * BUCKETS_PER_HOUR)
            if table.keys[row][1] == "soil_raw":
                new = [one for one in new if not _passes(table, row, one)]
            found = self._found.setdefault(table.keys[row], [])
            found += [table.first_bucket + one for one in new]

    def told(self, end: int) -> dict[Key, Episode]:
        """Return the newest of each channel that is, or was before bucket *end*, worth a word."""
        first = end - LOOKBACK_H * BUCKETS_PER_HOUR
        told = {}
        for key, found in self._found.items():
            recent = [one for one in found if one >= first]
            one = episode(_apart(recent), TOLD) if recent else None
            if one is not None:
                told[key] = one
        return told


def _apart(buckets: Sequence[int]) -> list[int]:
    """Return those of *buckets* that lie an hour after the one before."""
    kept = list(buckets[:1])
    for one in buckets:
        if one - kept[-1] >= TOLD.apart:
            kept.append(one)
    return kept


def _passes(table: Table, row: int, bucket: int) -> bool:
    """Tell whether a soil probe in good health just passes the end of fewer bits."""
    buckets, values = table.samples(row, max(0, bucket - BUCKETS_PER_HOUR))
    beside = values[buckets < (bucket // BUCKETS_PER_HOUR + 1) * BUCKETS_PER_HOUR]
    if not len(beside):
        return False
    middle = float(np.median(beside))
    return any(abs(middle - rail) <= PASSES_WITHIN for rail in INNER_RAILS)
