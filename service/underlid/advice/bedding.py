"""How much dry bedding takes up the water that is too much."""

from __future__ import annotations

from typing import Final

from underlid.binmodel.feeds import UNKNOWN_MOISTURE_PCT
from underlid.journal.entries import Feed
from underlid.journal.feedstocks import FEEDSTOCKS, Feedstock
from underlid.journal.units import SI, Units, mass_text
from underlid.rules.finding import Advice
from underlid.science.mixing import bedding_for_target_g, c_to_n_ratio, mix_moisture_pct

LEAST_G: Final = 20.0
"""Less than a small handful is not worth a walk (our judgement)."""

WATER_PCT: Final = 100.0

STEPS_G: Final = ((100.0, 1.0), (200.0, 5.0), (1000.0, 10.0))
COARSEST_STEP_G: Final = 50.0
"""Doses below so much are rounded to such a step: a twentieth at the most (our judgement)."""


def bedding_dose(
    feed: Feed | None,
    film_water_g: float,
    target_pct: float,
    bedding: Feedstock,
    units: Units = SI,
) -> tuple[Advice, ...]:
    """Return the bedding that brings a feed, and the water on the lid, to the target moisture.

    Parameters
    ----------
    feed
        The feed, drained liquid and bedding on top accounted for; None for the lid's water alone.
    film_water_g
        Water on the lid that will come down, g.
    target_pct
        Moisture aimed at, % wet basis.
    bedding
        What the keeper has at hand.

    Source: B = F (M_f − G)/(G − M_b) [cornell-mix]; feedstock values are typical ones.
    """
    parts = wet_parts(feed, film_water_g)
    mass_g = sum(part for part, _ in parts)
    bedding = drier_than(target_pct, bedding)
    if bedding.moisture_pct >= target_pct:
        return ()
    mix_pct = mix_moisture_pct(parts) if mass_g else target_pct
    dose_g = rounded_g(bedding_for_target_g(mass_g, mix_pct, target_pct, bedding.moisture_pct))
    if dose_g < LEAST_G:
        return ()
    working = (
        f"B = F·(M − G)/(G − Mb): F {mass_g:.0f} g of feed, lid water and bedding so far at"
        f" M {mix_pct:.0f} %, target G {target_pct:.0f} %, {bedding.label} Mb"
        f" {bedding.moisture_pct:.0f} % gives {dose_g:.0f} g{_ratio(feed, bedding, dose_g)}."
        " Source: Cornell composting pages; typical feedstock values."
    )
    where = "over the feed" if feed is not None else "over the bed"
    text = f"Add about {mass_text(dose_g, units)} of dry {bedding.label} {where}."
    return (Advice("add-bedding", text, amount_g=dose_g, working=working),)


def wet_parts(feed: Feed | None, film_water_g: float) -> list[tuple[float, float]]:
    """Return (g, moisture %) of a feed, the bedding it got, less the drained, plus lid water."""
    parts: list[tuple[float, float]] = []
    if feed is not None:
        parts = [
            (portion.mass_g, stock.moisture_pct if stock else UNKNOWN_MOISTURE_PCT)
            for portion in (*feed.portions, *feed.bedding)
            for stock in (FEEDSTOCKS.get(portion.ingredient),)
        ]
        parts.append((-feed.drained_g, WATER_PCT))
    parts.append((film_water_g, WATER_PCT))
    return parts


def drier_than(target_pct: float, bedding: Feedstock) -> Feedstock:
    """Return *bedding*, or newspaper when it is too moist to dry anything to *target_pct*.

    >>> drier_than(65.0, FEEDSTOCKS["castings"]).id, drier_than(75.0, FEEDSTOCKS["coir"]).id
    ('newspaper', 'coir')
    """
    return bedding if bedding.moisture_pct < target_pct else FEEDSTOCKS["newspaper"]


def rounded_g(mass_g: float) -> float:
    """Return a mass as a keeper would weigh it, in steps that shift a mix by < 0.5 % points.

    >>> rounded_g(51.2), rounded_g(103.0), rounded_g(457.1), rounded_g(1234.0)
    (51.0, 105.0, 460.0, 1250.0)
    """
    step = next((step for below_g, step in STEPS_G if mass_g < below_g), COARSEST_STEP_G)
    return round(mass_g / step) * step


def _ratio(feed: Feed | None, bedding: Feedstock, dose_g: float) -> str:
    """Return the C:N that the dose gives, as a clause; empty where it cannot be said."""
    if feed is None:
        return ""
    parts = [
        (portion.mass_g, stock.moisture_pct, stock.c_to_n * stock.nitrogen_pct_dry, nitrogen)
        for portion in (*feed.portions, *feed.bedding)
        if (stock := FEEDSTOCKS.get(portion.ingredient))
        and (nitrogen := stock.nitrogen_pct_dry) > 0.0
    ]
    if not parts:
        return ""
    carbon = bedding.c_to_n * bedding.nitrogen_pct_dry
    parts.append((dose_g, bedding.moisture_pct, carbon, bedding.nitrogen_pct_dry))
    return f" (C:N then about {c_to_n_ratio(parts):.0f})"
