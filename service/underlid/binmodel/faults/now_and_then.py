"""Faults that come now and then, and have no end that can be seen: spikes, and nonsense among good values.

What they are in is left out elsewhere (`probes/hot.py`, `trust.py`); here is which of them are told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from underlid.binmodel.faults.episodes import Episode
from underlid.binmodel.faults.fault import Cause, Fault, Key
from underlid.binmodel.faults.nonsense import NonsenseWatch
from underlid.binmodel.faults.spikes_told import spikes_told
from underlid.binmodel.faults.table import Table
from underlid.binmodel.lids.openings import Opening
from underlid.binmodel.window import BinWindow


class NowAndThen:
    """The spikes and the rare nonsense of one bin's channels, told from whole hour to whole hour."""

    def __init__(self) -> None:
        self._nonsense = NonsenseWatch()
        self._told: dict[Cause, dict[Key, Episode]] = {}

    def rewind(self, bucket: int) -> None:
        """Forget what was found from *bucket* on, with which an hour begins."""
        self._nonsense.rewind(bucket)

    def note(self, table: Table, at: int) -> None:
        """Take in the hours of index ≥ *at*."""
        self._nonsense.note(table, at)

    def tell(
        self,
        window: BinWindow,
        keys: Sequence[Key],
        spikes: Mapping[Key, Sequence[int]],
        opened: Sequence[Opening],
    ) -> None:
        """Find out what the keeper is told of until the next whole hour."""
        self._told = {
            Cause.SPIKE: spikes_told(window, keys, spikes, opened),
            Cause.NONSENSE: self._nonsense.told(window.end),
        }

    def faults(self, probe: str, now: int) -> Iterator[Fault]:
        """Yield the faults of a probe that the keeper is told of in bucket *now*."""
        for cause, told in self._told.items():
            for key, one in told.items():
                if key[0] == probe and now < one.told_until:
                    yield Fault(probe, key[1], cause, one.first, one.last + 1)
