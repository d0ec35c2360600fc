"""What a cheap soil probe makes of moisture: an index along a bent curve, as counts of a converter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

SOIL_DRY_RAW: Final = 2750.0
SOIL_WET_RAW: Final = 1150.0


@dataclass(frozen=True, slots=True)
class SoilCurve:
    """How a capacitive probe answers to moisture: it is not straight, and warms with the bed."""

    at_62_pct: float = 0.40
    per_pct: float = 0.01375
    """Index at 62 % moisture, and its rise a % point."""
    bend: float = 0.0012
    counts_k: float = -2.2
    """A wiggle of 0.1 % point per kelvin."""

    def index(self, moisture_pct: float) -> float:
        """Return the index, 0..1, at 20 °C."""
        beyond = moisture_pct - 62.0
        return self.at_62_pct + self.per_pct * beyond + self.bend * beyond * (beyond - 16.0) / 16.0


USUAL_SOIL: Final = SoilCurve()


def soil_raw(moisture_pct: float, temp_c: float, soil: SoilCurve = USUAL_SOIL) -> float:
    """Return the counts of a capacitive probe.

    >>> round(soil_raw(62.0, 20.0)), round(soil_raw(78.0, 20.0))
    (2110, 1758)
    """
    counts = SOIL_DRY_RAW - soil.index(moisture_pct) * (SOIL_DRY_RAW - SOIL_WET_RAW)
    return counts + soil.counts_k * (temp_c - 20.0)
