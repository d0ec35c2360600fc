"""What fits: how much loose bedding lies under the lid now, and how a large dose is split.

A bin's room is its volume less the bed's, and the bed's volume follows from its dry matter and density.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from underlid.binmodel.bins import Bin
from underlid.binmodel.water.bed import Bed
from underlid.journal.feedstocks import Feedstock

LEAST_SHARE: Final = 0.15
"""Under any lid there is room for so much of the bin's volume (our judgement)."""

EVERY_DAYS: Final = 2.0
"""Loose bedding has taken up water and sunk in so many days (our judgement)."""


@dataclass(frozen=True, slots=True)
class Room:
    """Litres free over the bed, litres of bed, and the dry density at which bedding packs, kg/L."""

    free_l: float
    bed_l: float
    density_kg_l: float


def room_of(bin_: Bin, bed: Bed) -> Room:
    """Return the room in a bin over its bed."""
    bed_l = bed.dry_kg / bin_.dry_density_kg_l
    free_l = max(bin_.volume_l - bed_l, LEAST_SHARE * bin_.volume_l)
    return Room(free_l, bed_l, bin_.dry_density_kg_l)


def portions(dose_g: float, bedding: Feedstock, room: Room) -> int:
    """Return in how many portions a dose fits under the lid, loose, one after the other has sunk in."""
    fits_g = 1000.0 * room.free_l * bedding.loose_kg_l
    return max(1, math.ceil(dose_g / fits_g - 0.05))


def split(dose_g: float, bedding: Feedstock, room: Room) -> dict[str, float | str]:
    """Return how a large dose is split, as values of its advice; none for one that fits at once."""
    count = portions(dose_g, bedding, room)
    return {} if count == 1 else {"portions": float(count), "every_days": EVERY_DAYS}


def share_out(dose_g: float, bedding: Feedstock, room: Room) -> float:
    """Return the share of the bed that must come out for a dose to fit when it has sunk in; 0 for none.

    With a share s of the bed gone, (1 − s) of the dose is enough and must fit into the room it left.
    """
    packed_l = dose_g / 1000.0 * (1.0 - bedding.moisture_pct / 100.0) / room.density_kg_l
    return max(0.0, packed_l - room.free_l) / (room.bed_l + packed_l)


def without(room: Room, share: float) -> Room:
    """Return the room over what is left of the bed when a share of it is out."""
    out_l = share * room.bed_l
    return Room(room.free_l + out_l, room.bed_l - out_l, room.density_kg_l)
