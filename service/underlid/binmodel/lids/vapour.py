"""What air can hold of vapour about a lid, and what it does hold, for all guesses at once."""

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


def settled(
    supply: Floats,
    ways: Floats,
    lid: tuple[Floats, Floats, Floats | float],
    walls: tuple[Floats, Floats, Floats | float],
) -> tuple[Floats, Floats, Floats]:
    """Return the vapour under the lid, g/m³, and the velocities of it onto lid and walls, m/h.

    Parameters
    ----------
    supply, ways
        What bed and shed send, g/m²h, and the sum of their velocities, m/h.
    lid, walls
        Of each the velocity, m/h, the vapour of air that it saturates, g/m³, and which share is wet:
        only that gives vapour, while all of it takes it.
    """
    to_lid, at_lid, wet_lid = lid
    to_walls, at_walls, wet_walls = walls
    wet = to_walls * wet_walls
    colder = np.where(at_walls < at_lid, to_walls, wet)  # walls that take before the lid does
    takes = supply + colder * at_walls > (ways + colder) * at_lid
    onto_lid = to_lid * np.where(takes, 1.0, wet_lid)
    supply, ways = supply + onto_lid * at_lid, ways + onto_lid
    onto_walls = np.where(supply > ways * at_walls, to_walls, wet)
    inside = (supply + onto_walls * at_walls) / (ways + onto_walls)
    return inside, onto_lid, onto_walls
