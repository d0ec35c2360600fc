"""Water in the bed: wet basis, volumetric, pores filled with air, and the water that is missing."""

from __future__ import annotations

from typing import Final

from underlid.science.numeric import Numeric

SOLID_DENSITY_KG_L: Final = 1.55
"""Density of the organic solids themselves (common practice)."""

SOUR_BELOW: Final = 0.30
"""Air-filled share of the bed below which it may turn sour (common practice)."""


def volumetric_water(moisture_pct: Numeric, dry_density_kg_l: float) -> Numeric:
    """Return θ, litres of water in a litre of bed, from *moisture_pct* (wet basis, below 100).

    Source: mass balance, θ = ρ_dry M/(1 − M).

    >>> volumetric_water(75.0, 0.15)
    0.45
    """
    result: Numeric = dry_density_kg_l * moisture_pct / (100.0 - moisture_pct)
    return result


def moisture_pct_from_volumetric(water: Numeric, dry_density_kg_l: float) -> Numeric:
    """Return the moisture, % wet basis, of a bed with θ = *water*; inverse of `volumetric_water`.

    >>> print(round(moisture_pct_from_volumetric(0.45, 0.15), 6))
    75.0
    """
    result: Numeric = 100.0 * water / (water + dry_density_kg_l)
    return result


def air_filled_porosity(moisture_pct: Numeric, dry_density_kg_l: float) -> Numeric:
    """Return the share of the bed that is air.

    Source: 1 − ρ_dry/ρ_solid − θ, common practice.

    >>> print(round(air_filled_porosity(75.0, 0.15), 3))
    0.453
    """
    solid = dry_density_kg_l / SOLID_DENSITY_KG_L
    result: Numeric = 1.0 - solid - volumetric_water(moisture_pct, dry_density_kg_l)
    return result


def sample_moisture_pct(wet_g: float, dry_g: float) -> float:
    """Return the moisture, % wet basis, of a sample of *wet_g* that dried to *dry_g* at 105 °C.

    Source: [cornell-moisture].

    >>> sample_moisture_pct(10.0, 2.3)
    77.0
    """
    return 100.0 * (wet_g - dry_g) / wet_g


def water_to_add_g(bed_kg: float, moisture_pct: float, target_pct: float) -> float:
    """Return the grams of water that bring a bed of *bed_kg* to *target_pct*; 0 if it is there.

    Source: W = Q (G − M)/(1 − G), mass balance.

    >>> print(round(water_to_add_g(22.0, 70.0, 75.0)))
    4400
    """
    return max(0.0, 1000.0 * bed_kg * (target_pct - moisture_pct) / (100.0 - target_pct))


def topp_volumetric_water(permittivity: Numeric) -> Numeric:
    """Return θ from the apparent permittivity (3..40) of a mineral soil; not for organic beds.

    Source: [topp1980], coefficients second-hand.

    >>> print(round(topp_volumetric_water(20.0), 4))
    0.3454
    """
    result: Numeric = (
        -5.3e-2 + 2.92e-2 * permittivity - 5.5e-4 * permittivity**2 + 4.3e-6 * permittivity**3
    )
    return result
