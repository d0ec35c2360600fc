"""Whether the newest hour could be the end of anything: a quick look that saves the long one.

Each test is a necessary condition of a detector that is asked every hour, so what it lets pass is found
as if all had been asked.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.faults.dry_as_air import AS_AIR, way_to_wet
from underlid.binmodel.faults.fault import SOILS
from underlid.binmodel.faults.moved import STEP_K
from underlid.binmodel.faults.noise import GATE_H, noisy_sds
from underlid.binmodel.faults.scene import Scene
from underlid.binmodel.faults.soil_moved import STAYS, STEP_PCT
from underlid.binmodel.faults.still import STEP_OF, STILL_H

GATE_HOURS: Final = 8
"""Hours that the quick look needs."""


def suspicious(scene: Scene) -> bool:
    """Tell whether a detector could find something at the end of the table's last hour."""
    table = scene.table
    if table.spoiled[:, -1].any():
        return True
    spread = table.high - table.low
    steps = np.array([STEP_OF[channel] for _, channel in table.keys])
    still = np.fmax.reduce(table.high[:, -STILL_H:], 1) - np.fmin.reduce(table.low[:, -STILL_H:], 1)
    if (still <= steps).any() or (spread[:, -GATE_H:].min(1) > 2.0 * noisy_sds(scene)).any():
        return True
    for row, (_, channel) in enumerate(table.keys):
        if channel == "bed_temp_c":
            high = np.fmax.reduce(table.high[row, -3:]) - np.fmin.reduce(table.low[row, -3:])
            if high > STEP_K:
                return True
        elif channel in SOILS:
            share = way_to_wet(scene, row)
            if share is not None and share[-1] <= AS_AIR:
                return True
            wet = table.mean[row, -6:] * scene.pct_per_unit(row)
            if np.fmax.reduce(wet) - np.fmin.reduce(wet) >= STAYS * STEP_PCT:
                return True
    return False
