"""Mixing feeds and beddings: moisture, carbon to nitrogen, bedding for a target, free liquid."""

from __future__ import annotations

from collections.abc import Iterable


def mix_moisture_pct(parts: Iterable[tuple[float, float]]) -> float:
    """Return the moisture, % wet basis, of parts given as (mass, moisture %); NaN for none.

    Source: [cornell-mix].

    >>> print(round(mix_moisture_pct([(10.0, 77.0), (6.8, 35.0)]), 1))
    60.0
    """
    mass = water = 0.0
    for part_mass, moisture_pct in parts:
        mass += part_mass
        water += part_mass * moisture_pct
    return water / mass if mass else float("nan")


def c_to_n_ratio(parts: Iterable[tuple[float, float, float, float]]) -> float:
    """Return the C:N of parts given as (mass, moisture %, carbon %, nitrogen % of dry mass).

    Source: [cornell-mix]. NaN when there is no nitrogen.

    >>> print(round(c_to_n_ratio([(50, 0, 40, 1), (10, 0, 10, 1), (2, 0, 25, 1)]), 1))
    34.7
    """
    carbon = nitrogen = 0.0
    for mass, moisture_pct, carbon_pct, nitrogen_pct in parts:
        dry = mass * (100.0 - moisture_pct)
        carbon += dry * carbon_pct
        nitrogen += dry * nitrogen_pct
    return carbon / nitrogen if nitrogen else float("nan")


def bedding_for_target_g(
    feed_g: float, feed_moisture_pct: float, target_pct: float, bedding_moisture_pct: float
) -> float:
    """Return the grams of bedding that bring *feed_g* to *target_pct*; 0 if it is dry enough.

    Raises ValueError when the bedding is not drier than the target: no amount would do.

    Source: mass balance, B = F (M_f − G)/(G − M_b) [cornell-mix].

    >>> print(round(bedding_for_target_g(1800.0, 92.0, 75.0, 8.0)))
    457
    """
    if bedding_moisture_pct >= target_pct:
        message = f"bedding of {bedding_moisture_pct} % water cannot dry a mix to {target_pct} %"
        raise ValueError(message)
    excess = feed_g * (feed_moisture_pct - target_pct)
    return max(0.0, excess / (target_pct - bedding_moisture_pct))


def bedding_for_ratio_g(
    parts: Iterable[tuple[float, float, float, float]],
    ratio: float,
    bedding: tuple[float, float, float],
) -> float:
    """Return the grams of bedding that bring *parts* to C:N *ratio*; 0 if they are there.

    Parameters
    ----------
    parts
        As for `c_to_n_ratio`, masses in g.
    ratio
        C:N aimed at.
    bedding
        (moisture %, carbon %, nitrogen % of dry mass), of a higher C:N than the one aimed at.

    Source: the ratio of the mix, solved for the bedding [cornell-mix].

    >>> grass, leaves = (10_000.0, 77.0, 45.0, 2.4), (35.0, 50.0, 0.75)
    >>> print(round(bedding_for_ratio_g([grass], 30.0, leaves) / 1000.0, 2))
    3.47
    """
    lacking = sum(
        mass * (100.0 - moisture_pct) * (ratio * nitrogen_pct - carbon_pct)
        for mass, moisture_pct, carbon_pct, nitrogen_pct in parts
    )
    moisture_pct, carbon_pct, nitrogen_pct = bedding
    gives = (100.0 - moisture_pct) * (carbon_pct - ratio * nitrogen_pct)
    return max(0.0, lacking / gives) if gives > 0.0 else float("inf")


def free_liquid_g(parts: Iterable[tuple[float, float, float]]) -> float:
    """Return the grams of water that parts (mass g, moisture %, holding kg/kg dry) cannot hold.

    Source: water balance against holding capacity, common practice.

    >>> free_liquid_g([(1000.0, 90.0, 3.0)])
    600.0
    """
    free = 0.0
    for mass_g, moisture_pct, holding in parts:
        dry_g = mass_g * (100.0 - moisture_pct) / 100.0
        free += mass_g - dry_g - dry_g * holding
    return max(0.0, free)
