"""Dry as air: a soil probe that says what it says in dry air sits in no bed, whatever it said before.

The fall that shows when a probe is pulled out (`pulled.py`) may lie beyond the window, or there was none:
a new probe that was given its bin and still lies on the bench. Nor need the drying of a bed that is as dry
as air lie in it: where a probe was dry all along, its thermometer tells whether it lies in the air.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import SOILS
from underlid.binmodel.faults.in_air import has_the_airs_swing
from underlid.binmodel.faults.pulled import AIRS, FALL_PCT
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
        bed = _thermometer(scene, row)
        for hour in (np.flatnonzero(dry[at:]) + at).tolist():
            if near[: hour + 1].sum() >= SLOW_H:
                continue
            first = hour
            while first > 0 and share[first - 1] <= AS_AIR:
                first -= 1
            if first < SLOW_H and bed is not None:
                asked = (scene.table.first_h + hour + 1) % SLOW_H == 0
                if not asked or not _is_in_air(scene, bed, hour):
                    continue
            elif hour > at and dry[hour - 1]:
                continue
            fallen = float(scene.table.mean[row, hour] * scene.pct_per_unit(row))
            anchor = (fallen + 2.0 * FALL_PCT, fallen)
            found.append(Begin(hour, row, scene.table.bucket_of(first), anchor))
    return found


def _thermometer(scene: Scene, row: int) -> int | None:
    """Return the row of the same probe's bed temperature."""
    key = (scene.table.keys[row][0], "bed_temp_c")
    return scene.table.keys.index(key) if key in scene.table.keys else None


def _is_in_air(scene: Scene, bed: int, hour: int) -> bool:
    """Tell whether a bed thermometer has the whole swing of an air."""
    airs = scene.rows(AIRS)
    return any(has_the_airs_swing(scene, bed, air, hour, fell_dry=True) for air in airs)


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
