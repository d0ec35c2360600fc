"""One water balance for all bedding: what must be taken up, by how much dry matter, and whether it holds.

Feed, lid water and bed are masses of water and dry matter; how an advice words the amount is not here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from underlid.journal.feedstocks import Feedstock
from underlid.science.mixing import bedding_for_target_g

FOOD_HOLDS: Final = 3.0
"""kg of water a kilogram of a food's dry matter holds: as paper does (our judgement)."""

BED_HOLDS: Final = 4.0
"""The same of a bed: at 80 % a handful begins to drip (our judgement)."""


@dataclass(frozen=True, slots=True)
class Part:
    """Something wet: water and dry matter, g, and the water that its dry matter can hold, g."""

    what: str
    water_g: float
    dry_g: float
    holds_g: float

    @property
    def mass_g(self) -> float:
        """Return its mass."""
        return self.water_g + self.dry_g


@dataclass(frozen=True, slots=True)
class Balance:
    """Several parts together."""

    parts: tuple[Part, ...]

    @property
    def water_g(self) -> float:
        """Return the water of all parts."""
        return sum(part.water_g for part in self.parts)

    @property
    def mass_g(self) -> float:
        """Return the mass of all parts."""
        return sum(part.mass_g for part in self.parts)

    @property
    def moisture_pct(self) -> float:
        """Return the moisture of the mix, % wet basis; 0 for nothing."""
        return 100.0 * self.water_g / self.mass_g if self.mass_g > 0.0 else 0.0

    @property
    def free_liquid_g(self) -> float:
        """Return water beyond what the dry matter holds; negative where there is room."""
        return self.water_g - sum(part.holds_g for part in self.parts)

    def and_also(self, parts: Iterable[Part]) -> Balance:
        """Return the balance with more parts in it."""
        return Balance((*self.parts, *parts))


def bedding_part(bedding: Feedstock, mass_g: float) -> Part:
    """Return so many grams of a bedding."""
    water_g = mass_g * bedding.moisture_pct / 100.0
    dry_g = mass_g - water_g
    return Part(bedding.label, water_g, dry_g, dry_g * (bedding.holding_kg_kg or FOOD_HOLDS))


def dose_g(balance: Balance, target_pct: float, bedding: Feedstock) -> float:
    """Return the grams of *bedding* that bring the mix to *target_pct*; 0 if it is dry enough.

    Raises ValueError when the bedding is not drier than the target.

    >>> from underlid.journal.feedstocks import FEEDSTOCKS
    >>> melon = Balance((Part("melon", 1656.0, 144.0, 432.0),))
    >>> print(round(dose_g(melon, 75.0, FEEDSTOCKS["cardboard"])))
    457
    """
    return bedding_for_target_g(
        balance.mass_g, balance.moisture_pct, target_pct, bedding.moisture_pct
    )
