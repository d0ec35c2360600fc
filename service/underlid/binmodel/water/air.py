"""How much of the bed is air, now and when the food has given its water: what a sour bed lacks.

A bed that smells well is not short of air, or not for long; so a nose narrows what probe and density leave
open. Whether there is too little air is judged in `rules/sour.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import erf, exp, hypot, sqrt
from typing import Final

from underlid.binmodel.bins import Bin, BinKind
from underlid.binmodel.probes.hot import BUCKET_MS
from underlid.binmodel.water.bed import JUICE_PER_D, Bed, now_of
from underlid.binmodel.water.drying import Drying
from underlid.binmodel.water.water_balance import TIGHT
from underlid.binmodel.window import BinWindow
from underlid.science.moisture import SOLID_DENSITY_KG_L, SOUR_BELOW, air_filled_porosity

DENSITY_SD: Final = 0.06
"""How well a keeper knows the dry density of the bed, as a share: to a tenth, each way as likely (our
judgement)."""

WETTEST_PCT: Final = 97.0

DRAINED_KG_KG: Final = 4.3
"""Water that a kilogram of dry bed holds against gravity where the rest can run out (our judgement)."""

SMELLS_BELOW: Final = 0.22
SMELLS_SD: Final = 0.07
LAPSE: Final = 0.1
"""A bed with so much air smells as often as not, later or sooner by so much; and so often a nose is wrong
(our judgement: between 0.30, where it may turn, and 0.15, where it has)."""

STEP_SDS: Final = 0.25
WEIGHTS: Final = tuple(
    (sds, exp(-0.5 * sds**2)) for sds in (STEP_SDS * step for step in range(-16, 17))
)
"""Deviations that are tried, in sds, and how likely they are beforehand."""


@dataclass(frozen=True, slots=True)
class Air:
    """The air-filled share of a bed, and how sure it is."""

    moisture_pct: float
    moisture_sd_pct: float
    density_kg_l: float
    smelt_well_pct: float | None = None
    """Its moisture when it last smelt well; None when nobody wrote so."""

    @property
    def share(self) -> float:
        """Return the share of the bed that is air; below 0 for a bed that swims."""
        return float(air_filled_porosity(self.moisture_pct, self.density_kg_l))

    @property
    def sd(self) -> float:
        """Return the share's uncertainty, from that of the moisture and of the density."""
        dry = 1.0 - self.moisture_pct / 100.0
        by_moisture = self.density_kg_l * self.moisture_sd_pct / 100.0 / dry**2
        by_density = DENSITY_SD * self.density_kg_l * (1.0 / SOLID_DENSITY_KG_L + 1.0 / dry - 1.0)
        return hypot(by_moisture, by_density)

    def chance(self, below: float = SOUR_BELOW) -> float:
        """Return how likely less than that share is air.

        What the share is off by, it was off by as well when the bed smelt well.

        >>> round(Air(82.0, 2.5, 0.15).chance(), 2), round(Air(82.0, 2.5, 0.15, 82.0).chance(), 2)
        (0.74, 0.55)
        """
        sd = self.sd
        most_sds = (below - self.share) / sd
        if self.smelt_well_pct is None:
            return _below(most_sds)
        spare = self.at(self.smelt_well_pct).share - SMELLS_BELOW
        whole = lacks = 0.0
        for sds, likely in WEIGHTS:
            smells_well = _below((spare + sds * sd) / SMELLS_SD)
            weight = likely * (LAPSE + (1.0 - 2.0 * LAPSE) * smells_well)
            whole += weight
            lacks += weight * min(1.0, max(0.0, (most_sds - sds) / STEP_SDS + 0.5))
        return lacks / whole

    def at(self, moisture_pct: float) -> Air:
        """Return the same bed at another moisture."""
        return replace(self, moisture_pct=min(moisture_pct, WETTEST_PCT))

    def evidence(self, bin_: Bin) -> dict[str, float | str]:
        """Return what a finding shows of it."""
        return {
            "moisture_pct": round(self.moisture_pct, 1),
            "moisture_sd_pct": self.moisture_sd_pct,
            "air_filled_porosity": round(self.share, 2),
            "air_filled_porosity_sd": round(self.sd, 2),
            "air_filled_porosity_limit": SOUR_BELOW,
            "dry_density_kg_l": bin_.dry_density_kg_l,
            "chance_pct": round(100.0 * self.chance()),
        }


def air_now(window: BinWindow, drying: Drying, smelt_well_ms: int | None = None) -> Air:
    """Return the air of the bed in the last hours: food gives its water faster than a day's mean shows.

    *smelt_well_ms*: when somebody last found that it smells well.
    """
    present = min(drying.present_pct, WETTEST_PCT)
    then_pct = None if smelt_well_ms is None else _then_pct(window, present, smelt_well_ms)
    return Air(present, drying.sd_pct, window.bin.dry_density_kg_l, then_pct)


def _then_pct(window: BinWindow, present_pct: float, at_ms: int) -> float | None:
    """Return the bed's moisture at a time, by how much its probes have moved since; None if not known."""
    now = now_of(window)
    then = now_of(window, max(0, (window.now_ms - at_ms) // BUCKET_MS))
    return None if now is None or then is None else present_pct + then - now


def _below(sds: float) -> float:
    return 0.5 * (1.0 + erf(sds / sqrt(2.0)))


def moisture_ahead_pct(bed: Bed, hours: float, kind: BinKind) -> float:
    """Return the bed's moisture when its food has given its water for so many hours more.

    What a bed with a drain cannot hold runs out.

    >>> round(moisture_ahead_pct(Bed(5.0, 80.0, 2.0), 24.0, BinKind.PLASTIC_TOTE), 1)
    81.0
    """
    water_kg = bed.water_kg + bed.locked_kg * (1.0 - exp(-JUICE_PER_D * hours / 24.0))
    if kind not in TIGHT:
        water_kg = min(water_kg, max(bed.water_kg, DRAINED_KG_KG * bed.dry_kg))
    return 100.0 * water_kg / (water_kg + bed.dry_kg)
