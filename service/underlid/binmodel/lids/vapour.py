"""What air can hold of vapour at each temperature about a lid, for all guesses at once."""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.outlook.weather import COLDEST_C
from underlid.science.numeric import Floats
from underlid.science.psychrometrics import absolute_humidity_g_m3

FULL_PCT: Final[Floats] = np.array(100.0)


def full_g_m3(temp_c: Floats) -> Floats:
    """Return what saturated air holds, g/m³; only a wrong probe makes a shed colder than any is."""
    return absolute_humidity_g_m3(np.maximum(temp_c, COLDEST_C), FULL_PCT)


def full_of_each_g_m3(*temps_c: Floats) -> list[Floats]:
    """Return `full_g_m3` of each, found at once: of some hundred numbers most of the time is the calls."""
    together, begin, each = full_g_m3(np.concatenate(temps_c)), 0, []
    for one in temps_c:
        each.append(together[begin : begin + len(one)])
        begin += len(one)
    return each
