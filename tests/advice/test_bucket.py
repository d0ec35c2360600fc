"""Sharing a bucket out: nobody is overfed, nothing is handed out twice, no bed is made too warm."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.advice.bucket import (
    LEAST_G,
    Taker,
    lacking_ml,
    moisture_with_pct,
    part_of_feed,
    parts_of,
    ratio_of,
    spare_liquid_ml,
)
from underlid.binmodel.water.bed import Bed
from underlid.journal.entries import Feed, Portion
from underlid.journal.feedstocks import FEEDSTOCKS

SCRAPS = Feed((Portion("melon", 1500.0), Portion("bread", 500.0)), 200.0)
TAKERS = st.lists(
    st.builds(Taker, st.sampled_from("abcdef"), st.floats(0, 5000), st.none() | st.integers(0, 99)),
    unique_by=lambda one: one.bin,
    max_size=6,
)


@given(st.floats(1, 20_000), TAKERS, st.floats(50, 3000))
def test_no_bin_gets_more_than_it_may_have_and_all_parts_come_from_one_bucket(
    mass_g: float, takers: list[Taker], bearable_g: float
) -> None:
    parts = parts_of(mass_g, takers, lambda _, part_g: part_g > bearable_g)
    assert sum(parts.values()) <= mass_g
    for taker in takers:
        assert parts.get(taker.bin, 0.0) <= min(taker.most_g, bearable_g)
    assert all(part >= min(LEAST_G, mass_g) for part in parts.values())


def test_whoever_is_due_first_is_fed_first() -> None:
    takers = [Taker("late", 900.0, 9), Taker("now", 500.0, None), Taker("soon", 700.0, 3)]
    assert parts_of(1000.0, takers, lambda *_: False) == {"now": 500.0, "soon": 500.0}


def test_a_part_of_a_feed_keeps_its_mixture() -> None:
    part = part_of_feed(SCRAPS, 450.0)
    assert part.mass_g == pytest.approx(450.0)
    assert part.portions[0].mass_g == pytest.approx(3 * part.portions[1].mass_g)
    assert part.drained_g == pytest.approx(50.0)


def test_carbon_to_nitrogen_is_that_of_the_dry_matter() -> None:
    newspaper, melon = FEEDSTOCKS["newspaper"], FEEDSTOCKS["melon"]
    assert ratio_of(Feed((Portion("newspaper", 100.0),))) == pytest.approx(newspaper.c_to_n)
    both = ratio_of(Feed((Portion("newspaper", 100.0), Portion("melon", 1000.0))))
    assert both is not None
    assert melon.c_to_n < both < newspaper.c_to_n
    assert ratio_of(Feed((Portion("rock-dust", 100.0),))) is None


def test_spare_liquid_goes_to_dry_beds_only() -> None:
    dry, wet = Bed(5.0, 65.0, 0.0), Bed(5.0, 82.0, 0.5)
    lacks = {"dry": lacking_ml(dry, 75.0, 0.0), "wet": lacking_ml(wet, 75.0, 0.0)}
    assert lacks["dry"] == pytest.approx(1000 * 5.0 * (3 - 65 / 35))
    assert lacks["wet"] < 0
    assert spare_liquid_ml(900.0, lacks, {"dry": 700.0, "wet": 700.0}) == {"dry": 700.0}
    assert lacking_ml(dry, 75.0, 2000.0) == pytest.approx(lacks["dry"] - 2000.0)


def test_moisture_counts_the_water_of_all_food() -> None:
    bed = Bed(4.0, 75.0, 1.0)
    assert moisture_with_pct(bed, 900.0, 100.0) == pytest.approx(100 * 13.9 / 18.0)
