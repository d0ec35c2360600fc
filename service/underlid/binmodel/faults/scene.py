"""What a detector is given: the table of hours, and what the channels are to each other."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np

from underlid.binmodel.bins import ProbePlace
from underlid.binmodel.faults.fault import Key
from underlid.binmodel.faults.table import Table
from underlid.binmodel.probes.hot import BUCKET_MS
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import (
    Amendment,
    BeddingAdded,
    Entry,
    Feed,
    Harvest,
    LiquidAdded,
    Moved,
    Sighting,
    Turned,
    Worms,
)
from underlid.readings.moisture_line import GAIN_PCT

TEMPERATURES: Final = ("bed_temp_c", "headspace_temp_c", "lid_temp_c", "shed_temp_c")
HUMIDITIES: Final = ("headspace_rh_pct", "shed_rh_pct")

HANDLING: Final = (Feed, BeddingAdded, LiquidAdded, Harvest, Worms, Turned, Moved)
"""Entries that say somebody had their hands in the bed."""

DRYING: Final = (BeddingAdded, Harvest, Worms, Turned, Moved)
"""Work after which the bed around a soil probe may be drier at once."""

SOIL_SPAN_RAW: Final = 1600.0
"""Counts from dry to wet of a capacitive probe whose ends nobody has noted (science page)."""


class Begin(NamedTuple):
    """A fault that a detector has found at the end of the hour at index `at`."""

    at: int
    row: int
    from_bucket: int
    anchor: tuple[float, ...] = ()
    ends_only: bool = False
    """It can end a fault of its kind that goes on, but begins none: work explains it."""
    corrects: bool = False
    """It is so sure that it takes the place of one of its kind that another channel has."""


@dataclass(frozen=True)
class Scene:
    """One bin's table, with its window for set-up and journal."""

    table: Table
    window: BinWindow

    @cached_property
    def places(self) -> dict[str, ProbePlace]:
        """Return the places by probe."""
        every = (*self.window.places, *self.window.air_places)
        return {place.probe: place for place in every}

    def was_handled(
        self, bucket: int, before: int, after: int, kinds: tuple[type, ...] = HANDLING
    ) -> bool:
        """Tell whether the journal has work from *before* buckets earlier to *after* later."""
        return any(
            bucket - before <= entry.at_ms // BUCKET_MS <= bucket + after
            for entry in self.window.entries
            if isinstance(entry.what, kinds)
        )

    def rows(self, channels: Iterable[str]) -> list[int]:
        """Return the rows of some channels."""
        return [at for at, key in enumerate(self.table.keys) if key[1] in channels]

    def row_of(self, key: Key) -> int | None:
        """Return the row of a channel; of a whole probe its first."""
        for row, one in enumerate(self.table.keys):
            if one == key or (not key[1] and one[0] == key[0]):
                return row
        return None

    def pct_per_unit(self, row: int) -> float:
        """Return % points of moisture per unit of a soil channel; negative where dry is high.

        Of the usual probe: a sample that is weighed later neither makes a fault nor takes one back.
        """
        probe, channel = self.table.keys[row]
        if channel == "moisture_pct":
            return 1.0
        if channel == "soil_index":
            return GAIN_PCT
        place = self.places.get(probe)
        dry, wet = (place.soil_dry_raw, place.soil_wet_raw) if place else (None, None)
        span = SOIL_SPAN_RAW if dry is None or wet is None or dry == wet else dry - wet
        return -GAIN_PCT / span


def span_of(scene: Scene, row: int, start: int, stop: int) -> float:
    """Return how far a channel's hourly means moved in hours start ≤ index < stop."""
    values = scene.table.mean[row, start:stop]
    values = values[~np.isnan(values)]
    return float(values.max() - values.min()) if len(values) else 0.0


def visits_of(entries: Iterable[Entry]) -> list[int]:
    """Return the buckets in which the keeper was at the bin, by the journal."""
    seen = (*HANDLING, Sighting, Amendment)
    return [entry.at_ms // BUCKET_MS for entry in entries if isinstance(entry.what, seen)]
