"""What a keeper does to a simulated bin: feeds, bedding, water, worms, harvest, a wiped lid.

Feeds and beddings hold what the feedstock table says; the soft part of a feed's dry matter decays
(`physics.py`), the rest is bed at once.
"""

from __future__ import annotations

from underlid.journal.entries import (
    Amendment,
    BeddingAdded,
    Feed,
    Harvest,
    LiquidAdded,
    What,
    Worms,
)
from underlid.journal.feedstocks import FEEDSTOCKS
from underlid.simulate import build as b
from underlid.simulate.physics import PhysicalBin

TAKEN_AT_MOST = 0.9
"""A harvest leaves a tenth of the bed."""

WETTEST_PCT = 97.0
"""No food is wetter: salad and cucumber come near (feedstock table)."""


def apply(bin_: PhysicalBin, what: What) -> None:
    """Do to *bin_* what a journal entry says; sightings and notes do nothing to it."""
    if isinstance(what, Feed):
        for portion in what.portions:
            _add_food(bin_, portion.ingredient, portion.mass_g / 1000.0)
        bin_.meal_kg = bin_.food_kg
        drained = min(what.drained_g / 1000.0, bin_.juice_kg)
        bin_.juice_kg -= drained
        bin_.account.water_in_kg -= drained
        for portion in what.bedding:
            _add_dry(bin_, portion.ingredient, portion.mass_g / 1000.0)
    elif isinstance(what, BeddingAdded | Amendment):
        for portion in what.portions:
            _add_dry(bin_, portion.ingredient, portion.mass_g / 1000.0)
    elif isinstance(what, LiquidAdded):
        bin_.water_kg += what.mass_g / 1000.0
        bin_.account.water_in_kg += what.mass_g / 1000.0
    elif isinstance(what, Worms):
        bin_.herd_kg = max(0.0, bin_.herd_kg + what.mass_g / 1000.0)
    elif isinstance(what, Harvest):
        _take(bin_, what.mass_g / 1000.0)


def wipe_lid(bin_: PhysicalBin) -> None:
    """Take the film off the lid."""
    bin_.account.water_taken_kg += bin_.film_g_m2 * bin_.bin.lid_area_m2 / 1000.0
    bin_.film_g_m2 = 0.0


def _add_food(bin_: PhysicalBin, ingredient: str, mass_kg: float) -> None:
    wetter_pct = FEEDSTOCKS[ingredient].moisture_pct + bin_.traits.feed_wetter_pct
    water = mass_kg * min(wetter_pct, WETTEST_PCT) / 100.0
    dry = mass_kg - water
    soft = dry * b.VOLATILE_SHARE * bin_.traits.soft_share
    bin_.juice_kg += water
    bin_.scraps_kg += soft
    bin_.dry_kg += dry - soft
    bin_.account.water_in_kg += water
    bin_.account.dry_in_kg += dry


def _add_dry(bin_: PhysicalBin, ingredient: str, mass_kg: float) -> None:
    water = mass_kg * FEEDSTOCKS[ingredient].moisture_pct / 100.0
    bin_.water_kg += water
    bin_.dry_kg += mass_kg - water
    bin_.cover_kg += mass_kg - water
    bin_.account.water_in_kg += water
    bin_.account.dry_in_kg += mass_kg - water


def _take(bin_: PhysicalBin, mass_kg: float) -> None:
    """Take castings out: bed without food, as wet as it is."""
    water = min(mass_kg * bin_.moisture_pct / 100.0, TAKEN_AT_MOST * bin_.water_kg)
    dry = min(mass_kg - water, TAKEN_AT_MOST * bin_.dry_kg)
    bin_.water_kg -= water
    bin_.dry_kg -= dry
    bin_.account.water_taken_kg += water
    bin_.account.dry_taken_kg += dry
