"""How much dry bedding takes up the water that is too much: of a feed and the lid, and of the bed.

The balance is in `balance.py`, what fits in `room.py`, the sentences in `wording.py`. Feedstock values
are typical ones.
"""

from __future__ import annotations

from typing import Final

from underlid.advice.balance import (
    BED_HOLDS,
    FOOD_HOLDS,
    Balance,
    Part,
    bedding_part,
    dose_g,
)
from underlid.advice.room import Room, share_out, split, without
from underlid.binmodel.water.bed import Bed
from underlid.journal.entries import Feed
from underlid.journal.feedstocks import FEEDSTOCKS, Feedstock, Group, moisture_pct_of
from underlid.rules.finding import Advice
from underlid.science.mixing import bedding_for_ratio_g, c_to_n_ratio

LEAST_G: Final = 50.0
"""Less than two handfuls is not worth a walk (our judgement)."""

BED_OVER_PCT: Final = 2.0
"""A bed so near its target is left as it is when only the lid is wet (our judgement)."""

RATIO_GOAL: Final = 30.0
"""C:N that composting handbooks aim at, 25 to 30 (from memory of NRAES-54)."""

NEARLY_SHARE: Final = 0.02
"""Free liquid below so much of the water is within the rounding of the dose."""

STEPS_G: Final = ((100.0, 1.0), (200.0, 5.0), (1000.0, 10.0))
COARSEST_STEP_G: Final = 50.0
"""Doses below so much are rounded to such a step: a twentieth at the most (our judgement)."""


def bedding_dose(
    feed: Feed | None,
    film_water_g: float,
    target_pct: float,
    bedding: Feedstock,
    room: Room | None = None,
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
    room
        What fits under the lid; without it the dose is not split.

    Source: B = F (M_f − G)/(G − M_b) [cornell-mix].
    """
    balance = wet_balance(feed, film_water_g)
    bedding = drier_than(target_pct, bedding)
    if bedding.moisture_pct >= target_pct:
        return ()
    amount_g = rounded_g(dose_g(balance, target_pct, bedding))
    if amount_g < LEAST_G:
        return ()
    working = (
        f"B = F·(M − G)/(G − Mb): F {balance.mass_g:.0f} g of feed, lid water and bedding so far at"
        f" M {balance.moisture_pct:.0f} %, target G {target_pct:.0f} %, {bedding.label} Mb"
        f" {bedding.moisture_pct:.0f} % gives {amount_g:.0f} g."
        f"{_liquid_text(balance, bedding, amount_g)}{_ratio_text(feed, bedding, amount_g)}"
        " Source: Cornell composting pages; typical feedstock values."
    )
    values: dict[str, float | str] = {
        "bedding": bedding.id,
        "where": "over-bed" if feed is None else "over-feed",
        "target_pct": target_pct,
        **(split(amount_g, bedding, room) if room else {}),
    }
    return (Advice("add-bedding", amount_g=amount_g, working=working, values=values),)


def surplus_dose(
    bed: Bed,
    film_water_g: float,
    given_g: float,
    target_pct: float,
    bedding: Feedstock,
    room: Room,
) -> tuple[Advice, ...]:
    """Return the bedding for what the bed itself holds too much, beside *given_g* over the feed.

    The balance is of bed, lid and the water still in the food together, so no water is counted twice.
    """
    if bed.moisture_pct <= target_pct + BED_OVER_PCT:
        return ()
    bedding = drier_than(target_pct, bedding)
    if bedding.moisture_pct >= target_pct:
        return ()
    balance = bed_balance(bed, film_water_g)
    whole_g = dose_g(balance, target_pct, bedding)
    amount_g = rounded_g(whole_g - given_g)
    if amount_g < LEAST_G:
        return ()
    values: dict[str, float | str] = {
        "bedding": bedding.id,
        "where": "into-bed",
        "target_pct": target_pct,
        "beside_g": given_g,
        **split(amount_g, bedding, room),
    }
    working = (
        f"{_bed_working(bed, film_water_g, balance, target_pct, bedding, whole_g)} Less"
        f" {given_g:.0f} g over the feed: {amount_g:.0f} g."
    )
    return (Advice("mix-bedding", amount_g=amount_g, working=working, values=values),)


def drier_bed(
    bed: Bed,
    film_water_g: float,
    target_pct: float,
    limit_pct: float,
    bedding: Feedstock,
    room: Room,
) -> tuple[Advice, ...]:
    """Return the bedding that brings the whole bed to its target, split as it fits.

    No more than that: what bedding as poor as leaves does not hold at first drains, as the advice beside
    it says; more of them would only leave the bed too dry.

    Parameters
    ----------
    bed
        The bed as it is, with the water still locked in food.
    target_pct, limit_pct
        Moisture aimed at, and the limit below which the bed is no longer too wet.
    """
    bedding = drier_than(target_pct, bedding)
    if bedding.moisture_pct >= target_pct:
        return ()
    balance = bed_balance(bed, film_water_g)
    amount_g = rounded_g(dose_g(balance, target_pct, bedding))
    if amount_g < LEAST_G:
        return ()
    share = share_out(amount_g, bedding, room)
    part_g = rounded_g((1.0 - share) * amount_g)
    first_g = rounded_g((1.0 - share) * dose_g(balance, limit_pct, bedding))
    values: dict[str, float | str] = {
        "bedding": bedding.id,
        "where": "into-bed",
        "target_pct": target_pct,
        **split(part_g, bedding, without(room, share)),
    }
    if first_g >= LEAST_G:
        values["first_part_g"] = first_g
    working = _bed_working(bed, film_water_g, balance, target_pct, bedding, amount_g)
    if share:
        values |= {
            "take_out_g": 1000.0 * share * bed.mass_kg,
            "take_out_share": share,
        }
        working += (
            f" Sunk in it needs more than the {room.free_l:.0f} L there are: with {100 * share:.0f} % of"
            f" the bed out, {part_g:.0f} g are enough and fit."
        )
    return (Advice("add-bedding", amount_g=part_g, working=working, values=values),)


def wet_balance(feed: Feed | None, film_water_g: float) -> Balance:
    """Return the balance of a feed, the bedding it got, less the drained, plus lid water."""
    parts = [Part("lid", film_water_g, 0.0, 0.0)]
    if feed is not None:
        for portion in (*feed.portions, *feed.bedding):
            stock = FEEDSTOCKS.get(portion.ingredient)
            water_g = portion.mass_g * moisture_pct_of(portion.ingredient) / 100.0
            dry_g = portion.mass_g - water_g
            holds = stock.holding_kg_kg if stock and stock.group is Group.BEDDING else None
            parts.append(Part(portion.ingredient, water_g, dry_g, dry_g * (holds or FOOD_HOLDS)))
        parts.append(Part("drained", -feed.drained_g, 0.0, 0.0))
    return Balance(tuple(parts))


def bed_balance(bed: Bed, film_water_g: float) -> Balance:
    """Return the balance of a bed, the water locked in its food, and the lid's water."""
    dry_g = 1000.0 * bed.dry_kg
    return Balance(
        (
            Part("bed", 1000.0 * bed.water_kg, dry_g, BED_HOLDS * dry_g),
            Part("food", 1000.0 * bed.locked_kg, 0.0, 0.0),
            Part("lid", film_water_g, 0.0, 0.0),
        )
    )


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


def _bed_working(
    bed: Bed,
    film_water_g: float,
    balance: Balance,
    target_pct: float,
    bedding: Feedstock,
    amount_g: float,
) -> str:
    return (
        f"B = Q·(M − G)/(G − Mb): the bed weighs about {bed.mass_kg:.1f} kg, {bed.dry_kg:.1f} kg of"
        f" it dry, at {bed.moisture_pct:.1f} %; with {bed.locked_kg:.2f} kg of water still in the"
        f" food and {film_water_g:.0f} g on the lid Q {balance.mass_g / 1000.0:.1f} kg at M"
        f" {balance.moisture_pct:.1f} %, target G {target_pct:.0f} %, {bedding.label} Mb"
        f" {bedding.moisture_pct:.0f} % gives {amount_g:.0f} g."
        f"{_liquid_text(balance, bedding, amount_g)} Dry matter by the bed's mass at set-up and the"
        " journal since. Source: Cornell composting pages."
    )


def _liquid_text(balance: Balance, bedding: Feedstock, amount_g: float) -> str:
    """Return what the mix holds of its water, as a sentence."""
    mixed = balance.and_also((bedding_part(bedding, amount_g),))
    free_g = mixed.free_liquid_g
    if free_g <= NEARLY_SHARE * mixed.water_g:
        return " No liquid is free then: what is dry in it holds all."
    return f" {free_g:.0f} g of it are beyond what these hold, and run down."


def _ratio_text(feed: Feed | None, bedding: Feedstock, amount_g: float) -> str:
    """Return the C:N that the dose gives, and the dose that C:N would ask for: the goals conflict."""
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
    dry = (
        bedding.moisture_pct,
        bedding.c_to_n * bedding.nitrogen_pct_dry,
        bedding.nitrogen_pct_dry,
    )
    ratio = c_to_n_ratio([*parts, (amount_g, *dry)])
    wanted_g = bedding_for_ratio_g(parts, RATIO_GOAL, dry)
    asks = f"{wanted_g:.0f} g are enough" if wanted_g > 0.0 else "none is needed"
    return f" C:N then about {ratio:.0f}; {asks} for a C:N of {RATIO_GOAL:.0f}."
