"""How much of the bed is air, now and when the food has given its water: what a sour bed lacks.

Whether that is too little is judged in `rules/sour.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erf, exp, hypot, sqrt
from typing import Final

from underlid.binmodel.bins import Bin, BinKind
from underlid.binmodel.water.bed import JUICE_PER_D, Bed
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


@dataclass(frozen=True, slots=True)
class Air:
    """The air-filled share of a bed, and how sure it is."""

    moisture_pct: float
    moisture_sd_pct: float
    density_kg_l: float

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

        >>> round(Air(82.0, 2.5, 0.15).chance(), 2)
        0.74
        """
        return 0.5 * (1.0 + erf((below - self.share) / self.sd / sqrt(2.0)))

    def at(self, moisture_pct: float) -> Air:
        """Return the same bed at another moisture."""
        return Air(min(moisture_pct, WETTEST_PCT), self.moisture_sd_pct, self.density_kg_l)

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


def air_now(window: BinWindow, drying: Drying) -> Air:
    """Return the air of the bed in the last hours: food gives its water faster than a day's mean shows."""
    present = min(drying.present_pct, WETTEST_PCT)
    return Air(present, drying.sd_pct, window.bin.dry_density_kg_l)


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
