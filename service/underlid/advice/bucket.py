"""One bucket of food before it goes in: what it is, which bin may have how much, and its spare liquid.

How a bin would take its part is foreseen by `binmodel/outlook/what_if.py`; here parts are only shared out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from math import isnan
from typing import Final

from underlid.advice.water import LEAST_ML, MISTING_ML_PER_KG
from underlid.binmodel.water.bed import Bed
from underlid.journal.entries import Feed, Portion
from underlid.journal.feedstocks import FEEDSTOCKS
from underlid.science.mixing import c_to_n_ratio

LEAST_G: Final = 100.0
"""A smaller part is not worth lifting a lid for (our judgement)."""

LESS: Final = 0.7
TRIES: Final = 6
"""A part that would heat its bed is made smaller by such steps, to an eighth (our judgement)."""

STEP_G: Final = 10.0


@dataclass(frozen=True, slots=True)
class Taker:
    """A bin that may be fed: the most its herd may have next, and when that is due; None for now."""

    bin: str
    most_g: float
    due_ms: int | None = None


def parts_of(
    mass_g: float, takers: Iterable[Taker], heats: Callable[[str, float], bool]
) -> dict[str, float]:
    """Return how much of *mass_g* each bin gets, g: whoever is due first gets most; none is overfed.

    *heats* tells whether so many grams would make a bin's bed too warm; it then gets less, or nothing.

    >>> takers = [Taker("a", 600.0, 5), Taker("b", 500.0, None), Taker("c", 0.0)]
    >>> parts_of(900.0, takers, lambda bin, part_g: bin == "b" and part_g > 400)
    {'b': 350.0, 'a': 550.0}
    """
    left_g = mass_g
    parts: dict[str, float] = {}
    for taker in sorted(takers, key=lambda one: (one.due_ms or 0, -one.most_g, one.bin)):
        part_g = _whole(min(taker.most_g, left_g))
        for _ in range(TRIES):
            if part_g < LEAST_G or not heats(taker.bin, part_g):
                break
            part_g = _whole(part_g * LESS)
        else:
            continue
        if part_g >= min(LEAST_G, mass_g):
            parts[taker.bin] = part_g
            left_g -= part_g
    return parts


def part_of_feed(feed: Feed, part_g: float) -> Feed:
    """Return so many grams of a feed as it is after draining, its bedding left out."""
    share = part_g / feed.mass_g
    portions = tuple(Portion(one.ingredient, one.mass_g * share) for one in feed.portions)
    return Feed(portions, feed.drained_g * share)


def ratio_of(feed: Feed) -> float | None:
    """Return a feed's C:N with its bedding, by typical values; None without nitrogen.

    >>> print(round(ratio_of(Feed((Portion("melon", 1000.0),)))))
    22
    """
    ratio = c_to_n_ratio(
        (
            portion.mass_g,
            stock.moisture_pct,
            stock.c_to_n * stock.nitrogen_pct_dry,
            stock.nitrogen_pct_dry,
        )
        for portion in (*feed.portions, *feed.bedding)
        if (stock := FEEDSTOCKS[portion.ingredient]).nitrogen_pct_dry > 0.0
    )
    return None if isnan(ratio) else ratio


def spare_liquid_ml(
    liquid_ml: float, lacks_ml: dict[str, float], most_ml: dict[str, float]
) -> dict[str, float]:
    """Return which bins may have the spare liquid, the driest first, as much as soaks in in a day.

    >>> spare_liquid_ml(500.0, {"a": 900.0, "b": -300.0, "c": 100.0}, {"a": 450.0, "b": 9.0, "c": 800.0})
    {'a': 450.0, 'c': 50.0}
    """
    given: dict[str, float] = {}
    for name in sorted(lacks_ml, key=lambda one: (-lacks_ml[one], one)):
        part_ml = _whole(min(lacks_ml[name], most_ml[name], liquid_ml - sum(given.values())))
        if part_ml >= LEAST_ML:
            given[name] = part_ml
    return given


def lacking_ml(bed: Bed, target_pct: float, feed_water_g: float) -> float:
    """Return the water that a bed lacks when its food's water, and the new food's, has gone into it."""
    wanted_kg = bed.dry_kg * target_pct / (100.0 - target_pct)
    return 1000.0 * (wanted_kg - bed.water_kg - bed.locked_kg) - feed_water_g


def soaks_in_ml(bed: Bed) -> float:
    """Return what a bed takes up in a day without draining."""
    return MISTING_ML_PER_KG * bed.mass_kg


def moisture_with_pct(bed: Bed, water_g: float, dry_g: float) -> float:
    """Return the moisture of the bed with its food's water and the new feed in it, % wet basis."""
    water_kg = bed.water_kg + bed.locked_kg + water_g / 1000.0
    return 100.0 * water_kg / (water_kg + bed.dry_kg + dry_g / 1000.0)


def _whole(grams: float) -> float:
    """Return grams in steps that a kitchen scale shows, never more."""
    return max(0.0, grams // STEP_G * STEP_G)
