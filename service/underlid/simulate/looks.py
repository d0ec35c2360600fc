"""What a keeper sees, smells and squeezes in a simulated bin, and does about it on the spot."""

from __future__ import annotations

from typing import Final

from underlid.science.condensation import film_band
from underlid.simulate.physics import PhysicalBin

LID_LOOKS: Final = {
    "dry": "dry",
    "mist": "mist",
    "drops": "drops",
    "runs": "drops",
    "drips": "dripping",
}

CLIMB_ABOVE_C: Final = 29.0
CLIMB_WET_PCT: Final = 86.0
"""Worms leave a bed that is too hot or too wet (our judgement)."""

USED_UP_SHARE: Final = 0.12
"""So little left of a feed looks like nothing (our judgement)."""

TEND_BELOW_PCT: Final = 69.0
TEND_ABOVE_PCT: Final = 81.0
TENDED_PCT: Final = 75.0
"""A handful that crumbles gets water, one that drips gets bedding (our judgement)."""


def looks_of(bin_: PhysicalBin, wrong: float = 0.0) -> dict[str, object]:
    """Return what a keeper sees who lifts the lid; the lid's look is off by *wrong* bands."""
    troubled = bin_.bed_c > CLIMB_ABOVE_C or bin_.moisture_pct > CLIMB_WET_PCT
    moisture = bin_.moisture_pct
    squeeze = (
        "crumbles"
        if moisture < 66
        else "damp"
        if moisture < 79
        else "drops"
        if moisture < 86
        else "trickle"
    )
    return {
        "lid": _lid_look(film_band(bin_.film_g_m2), wrong),
        "climbers": "many" if troubled else "none",
        "squeeze": squeeze,
        "smell": "sour" if bin_.air_share < 0.2 else "earthy",
        "used_up": "yes" if bin_.food_kg < USED_UP_SHARE * bin_.meal_kg else "no",
    }


def _lid_look(band: str, wrong: float) -> str:
    looks = list(dict.fromkeys(LID_LOOKS.values()))
    return looks[min(max(looks.index(LID_LOOKS[band]) + round(wrong), 0), len(looks) - 1)]


def tended(bin_: PhysicalBin, wrong: float) -> dict[str, object] | None:
    """Return the water or bedding that a keeper gives who finds the bed dry or wet; None for neither.

    *wrong* is by how many % points the handful deceives.
    """
    felt_pct = bin_.moisture_pct + wrong
    bed_kg = bin_.water_kg + bin_.solids_kg
    if felt_pct < TEND_BELOW_PCT:
        kg = bed_kg * (TENDED_PCT - felt_pct) / (100.0 - TENDED_PCT)
        return {"kind": "water", "mass_g": round(1000.0 * kg, -2)}
    if felt_pct > TEND_ABOVE_PCT:
        kg = bed_kg * (felt_pct - TENDED_PCT) / (TENDED_PCT - 8.0)
        return {"kind": "bedding", "ingredient": f"cardboard:{round(1000.0 * kg, -1):.0f}"}
    return None
