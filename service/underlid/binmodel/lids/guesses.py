"""What one lid may be like: 128 guesses, each a whole lid, spread as widely as lids of its kind differ.

The guesses are the same for every bin of a kind and are drawn once, evenly (an R-sequence through the
inverse of the normal distribution): no chance is in them, so the same data gives the same film.
`cloud.py` runs a film for each and weighs them by what is read and seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from statistics import NormalDist
from typing import Final

import numpy as np

from underlid.binmodel.bins import BinKind
from underlid.science.numeric import Floats

GUESSES: Final = 128
"""Twice as many told wet lids from dry ones no better in simulated bins; half as many did worse."""

LID_FACTOR: Final = {
    BinKind.FLOW_THROUGH_BAG: (0.70, 0.10),
    BinKind.TRAY_STACK: (0.70, 0.10),
    BinKind.PLASTIC_TOTE: (0.70, 0.10),
    BinKind.WOODEN_BOX: (0.80, 0.10),
    BinKind.TROUGH: (0.80, 0.10),
}
"""Temperature factor of the lid, mean and sd: common practice; a coupled wet-lid balance gave
0.72..0.79 for thin lids."""

OUT_M_H: Final = {
    BinKind.FLOW_THROUGH_BAG: 1.0,
    BinKind.TRAY_STACK: 0.7,
    BinKind.PLASTIC_TOTE: 0.4,
    BinKind.WOODEN_BOX: 2.5,
    BinKind.TROUGH: 0.6,
}
OUT_SPREAD: Final = 0.7
"""Air exchanged with the shed, m³ per m² of lid and hour: half to two changes an hour of a headspace a
hand high, and what wood and cloth let through; known to a factor of two (our judgement)."""

BED_M_H: Final = 7.5
BED_SPREAD: Final = 0.3
LID_M_H: Final = 9.5
LID_SPREAD: Final = 0.25
"""Transfer velocities of vapour: Lewis relation for still air gives 10.4 m/h (2.9 mm/s); a bed is rough,
and dry here and there (our judgement). Spreads are of the logarithm."""

SHUFFLED: Final = np.arange(GUESSES) * 77 % GUESSES
"""What was thought of later goes through the guesses in another order, so that it leans on nothing else."""

STILL_SHARE: Final = 0.5
STILL_SPREAD: Final = 0.5
"""Under a lid warmer than the bed the air lies in layers. Vapour that only diffuses through a headspace a
hand high goes at 0.9 m/h, a fifth of what stirred air carries; vents and leaks stir (our judgement)."""

THROUGH_M_H: Final = {BinKind.FLOW_THROUGH_BAG: 0.8, BinKind.WOODEN_BOX: 0.15}
THROUGH_SPREAD: Final = 0.9
"""Transfer velocity of vapour from a wet film out through the lid: diffusion in air (0.09 m²/h) over the
thickness of still air that stops as much, 0.02 to 0.3 m for cloth, and half a metre for a board
(definition of s_d, EN ISO 12572; values common practice). Plastic and thick boards let none through."""

WALLS: Final = 0.7
WALLS_SPREAD: Final = 0.4
"""Area of the walls between bed and lid over the lid's: 8 cm of wall around a lid half a metre square."""

WALLS_COLDER: Final = 0.12
WALLS_COLDER_SD: Final = 0.12
"""By so much is their temperature factor below the lid's: they are of like stuff and stand in the same
air, but see the bed only from the side (our judgement)."""

COVER_KG_M2: Final = 1.0
COVER_SPREAD: Final = 0.6
"""So much bedding on top halves what gets through: a few centimetres of moist paper (our judgement)."""

BED_OFF_SD_K: Final = 0.2
"""Bed probe against shed probe; the headspace's is set right by both (data sheets)."""

LID_OFF_SD_K: Final = 0.2
"""Of a lid's probe, where no shed air tells what it is off (data sheets)."""

SURFACE_SHARE: Final = 0.1
SURFACE_SD: Final = 0.15
"""The bed's surface lies this share of the way from its probe to the headspace; below 0 where fresh food
warms the top (our judgement)."""

SHED_RH_PCT: Final = 62.0
SHED_RH_SD_PCT: Final = 12.0
"""Of a shed whose humidity is not measured (our judgement)."""

RH_OFF_PCT: Final = 2.0
RH_OFF_SD_PCT: Final = 2.2
"""A common sensor is good for ±2 %, and up to 3 % high after 60 h above 80 %, as it is in most bins
(data sheets)."""

START_SD_G_M2: Final = 40.0
"""What may hang on a lid at the beginning: half of all lids are dry (our judgement)."""


@dataclass(frozen=True, slots=True)
class Guesses:
    """One value of each kind a guess."""

    factor: Floats
    bed_m_h: Floats
    lid_m_h: Floats
    out_m_h: Floats
    still_share: Floats
    """Both velocities under a lid warmer than the bed, over those of stirred air."""
    through_m_h: Floats
    walls: Floats
    walls_m_h: Floats
    """Area of the walls, and the velocity of vapour onto all of it, for each m² of lid."""
    walls_factor: Floats
    bed_off_k: Floats
    cover_kg_m2: Floats
    surface: Floats
    shed_rh_pct: Floats
    rh_off_pct: Floats
    lid_z: Floats
    """Error of a measured lid, in units of its sd."""
    start_g_m2: Floats
    share_z: Floats
    head_z: Floats
    """Errors, in units of their sd, of the headspace's share and offset where no shed air is measured."""


@cache
def guesses_of(kind: BinKind) -> Guesses:
    """Return the guesses for a kind of bin.

    What is never needed together shares its numbers: a measured lid needs no factor, and so on.
    """
    z = evenly_normal(GUESSES, 8)
    stillness, cloth, wall = evenly_normal(GUESSES, 3)[:, SHUFFLED]
    factor, factor_sd = LID_FACTOR[kind]
    lid = np.clip(factor + factor_sd * z[0], 0.2, 0.98)
    lid_m_h = LID_M_H * np.exp(LID_SPREAD * z[2])
    walls = WALLS * np.exp(WALLS_SPREAD * wall)
    return Guesses(
        factor=lid,
        bed_m_h=BED_M_H * np.exp(BED_SPREAD * z[1]),
        lid_m_h=lid_m_h,
        out_m_h=OUT_M_H[kind] * np.exp(OUT_SPREAD * z[3]),
        still_share=np.minimum(1.0, STILL_SHARE * np.exp(STILL_SPREAD * stillness)),
        through_m_h=THROUGH_M_H.get(kind, 0.0) * np.exp(THROUGH_SPREAD * cloth),
        walls=walls,
        walls_m_h=walls * lid_m_h,
        walls_factor=np.clip(lid - WALLS_COLDER + WALLS_COLDER_SD * z[6][::-1], 0.15, 0.98),
        bed_off_k=BED_OFF_SD_K * z[4],
        cover_kg_m2=COVER_KG_M2 * np.exp(COVER_SPREAD * z[5]),
        surface=SURFACE_SHARE + SURFACE_SD * z[7],
        shed_rh_pct=np.clip(SHED_RH_PCT + SHED_RH_SD_PCT * z[6], 20.0, 95.0),
        rh_off_pct=RH_OFF_PCT + RH_OFF_SD_PCT * z[7],
        lid_z=z[0],
        start_g_m2=np.maximum(0.0, START_SD_G_M2 * z[1][::-1]),
        share_z=z[4],
        head_z=z[6],
    )


def evenly_normal(count: int, kinds: int) -> Floats:
    """Return *kinds* rows of *count* values, each row normal and all rows together even.

    An additive sequence with the powers of the root of x^(d+1) = x + 1, shifted by a half.

    >>> z = evenly_normal(128, 8)
    >>> bool(np.abs(z.mean(axis=1)).max() < 0.1), bool(np.abs(z.std(axis=1) - 1.0).max() < 0.1)
    (True, True)
    """
    root = 2.0
    for _ in range(60):
        root = float((1.0 + root) ** (1.0 / (kinds + 1)))
    normal = NormalDist()
    return np.array(
        [
            [
                normal.inv_cdf(min(max((0.5 + place * root**-kind) % 1.0, 1e-4), 1.0 - 1e-4))
                for place in range(1, count + 1)
            ]
            for kind in range(1, kinds + 1)
        ]
    )
