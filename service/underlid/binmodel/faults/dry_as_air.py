"""Dry as air: a soil probe that says what it says in dry air sits in no bed, whatever it said before.

The fall that shows when a probe is pulled out (`pulled.py`) may lie beyond the window, or there was none:
a new probe that was given its bin and still lies on the bench.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import SOILS
from underlid.binmodel.faults.pulled import FALL_PCT
from underlid.binmodel.faults.scene import Begin, Scene
from underlid.science.numeric import Floats

AS_AIR: Final = 0.03
AS_AIR_PCT: Final = 5.0
"""Share of the way from dry air to water, or moisture, below which no bed lies: worms are dead long before
(our judgement)."""

HOURS: Final = 3

NEAR_AIR: Final = 0.2
SLOW_H: Final = 6
"""A probe that was so near to dry air for so many hours before is not pulled out: its bed has dried (our
judgement)."""


def begins(scene: Scene, at: int) -> list[Begin]:
    """Return the soil channels that have been as dry as air for some hours, at an hour of index ≥ *at*."""
    found = []
    for row in scene.rows(SOILS):
        share = way_to_wet(scene, row)
        if share is None:
            continue
        dry = np.convolve(share <= AS_AIR, np.ones(HOURS), "full")[: len(share)] >= HOURS
        near = (share > AS_AIR) & (share <= NEAR_AIR)
        for hour in np.flatnonzero(dry[at:]) + at:
            if (hour > at and dry[hour - 1]) or near[: hour + 1].sum() >= SLOW_H:
                continue
            first = hour
            while first > 0 and share[first - 1] <= AS_AIR:
                first -= 1
            fallen = float(scene.table.mean[row, hour] * scene.pct_per_unit(row))
            anchor = (fallen + 2.0 * FALL_PCT, fallen)
            found.append(Begin(int(hour), row, scene.table.bucket_of(int(first)), anchor))
    return found


def way_to_wet(scene: Scene, row: int) -> Floats | None:
    """Return each hour's share of the way from dry air to water; None where the ends are not known."""
    probe, channel = scene.table.keys[row]
    mean: Floats = scene.table.mean[row]
    if channel == "moisture_pct":
        scaled: Floats = mean * (AS_AIR / AS_AIR_PCT)
        return scaled
    if channel == "soil_index":
        return mean
    place = scene.places.get(probe)
    dry, wet = (place.soil_dry_raw, place.soil_wet_raw) if place else (None, None)
    if dry is None or wet is None or dry == wet:
        return None
    share: Floats = (mean - dry) / (wet - dry)
    return share
