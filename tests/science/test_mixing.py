"""Mixing against the worked examples of two extension services, and as a balance."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.science.mixing import (
    bedding_for_target_g,
    c_to_n_ratio,
    free_liquid_g,
    mix_moisture_pct,
)

PARTS = st.lists(st.tuples(st.floats(0.1, 50.0), st.floats(0.0, 98.0)), min_size=1, max_size=6)


def test_leaves_for_grass() -> None:
    # read in the Cornell composting pages: 10 kg of grass at 77 % and leaves at 35 % to 60 %
    leaves_kg = bedding_for_target_g(10_000.0, 77.0, 60.0, 35.0) / 1000.0
    assert leaves_kg == pytest.approx(6.8, abs=0.005)
    assert mix_moisture_pct([(10.0, 77.0), (leaves_kg, 35.0)]) == pytest.approx(60.0)


def test_leaves_for_a_ratio_of_30() -> None:
    # Cornell composting pages, from memory, print 3.5 kg: grass 45 % C, 2.4 % N; leaves 50, 0.75
    mix = [(10.0, 77.0, 45.0, 2.4), (3.47, 35.0, 50.0, 0.75)]
    assert c_to_n_ratio(mix) == pytest.approx(30.0, abs=0.05)


def test_hay_scraps_and_coffee() -> None:
    # read in the Cornell composting pages, as fed: 50 lb hay, 10 lb scraps, 2 lb coffee give 34.7
    mix = [(50.0, 0.0, 40.0, 1.0), (10.0, 0.0, 10.0, 1.0), (2.0, 0.0, 25.0, 1.0)]
    assert c_to_n_ratio(mix) == pytest.approx(34.7, abs=0.05)


def test_paper_soaked_in_three_times_its_weight() -> None:
    # read in an Illinois Extension leaflet: 1 lb of paper and 3 lb of water are at 75 %
    assert mix_moisture_pct([(1.0, 0.0), (3.0, 100.0)]) == pytest.approx(75.0)


@pytest.mark.parametrize(
    ("target_pct", "cardboard_kg"),
    [(75.0, 0.457), (70.0, 0.639)],  # computed by hand: 1.8 kg of melon at 92 %, cardboard at 8 %
)
def test_cardboard_for_a_melon(target_pct: float, cardboard_kg: float) -> None:
    dose_g = bedding_for_target_g(1800.0, 92.0, target_pct, 8.0)
    assert dose_g == pytest.approx(1000.0 * cardboard_kg, abs=0.6)


def test_draining_saves_cardboard() -> None:
    # computed by hand: 0.30 kg of liquid poured off first
    parts = [(1.8, 92.0), (-0.3, 100.0)]
    drained_pct = mix_moisture_pct(parts)
    assert bedding_for_target_g(1500.0, drained_pct, 75.0, 8.0) == pytest.approx(345.0, abs=0.6)


@given(PARTS)
def test_a_mix_lies_between_its_parts(parts: list[tuple[float, float]]) -> None:
    moistures = [moisture for _, moisture in parts]
    mixed = mix_moisture_pct(parts)
    assert min(moistures) - 1e-9 <= mixed <= max(moistures) + 1e-9
    assert mix_moisture_pct(parts[::-1]) == pytest.approx(mixed)


@given(PARTS, st.floats(0.1, 50.0), st.floats(0.0, 1.0))
def test_a_mix_rises_with_any_part_and_with_more_of_a_wetter_part(
    parts: list[tuple[float, float]], mass: float, share: float
) -> None:
    before = mix_moisture_pct(parts)
    wetter_first = [(parts[0][0], parts[0][1] + 1.0), *parts[1:]]
    assert mix_moisture_pct(wetter_first) > before
    wetter_pct = before + share * (100.0 - before)
    once = mix_moisture_pct([*parts, (mass, wetter_pct)])
    twice = mix_moisture_pct([*parts, (2.0 * mass, wetter_pct)])
    assert before - 1e-9 <= once <= twice + 1e-9


@given(st.floats(1.0, 20_000.0), st.floats(0.0, 99.0), st.floats(50.0, 85.0), st.floats(0.0, 45.0))
def test_the_bedding_brings_the_feed_to_its_target(
    feed_g: float, feed_pct: float, target_pct: float, bedding_pct: float
) -> None:
    dose_g = bedding_for_target_g(feed_g, feed_pct, target_pct, bedding_pct)
    if feed_pct <= target_pct:
        assert dose_g == 0.0
        return
    mixed = mix_moisture_pct([(feed_g, feed_pct), (dose_g, bedding_pct)])
    assert mixed == pytest.approx(target_pct)


def test_bedding_as_wet_as_the_target_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot dry"):
        bedding_for_target_g(1000.0, 92.0, 65.0, 68.0)


def test_liquid_that_nothing_holds_runs_free() -> None:
    # computed by hand: 1 kg at 90 % has 900 g of water, its 100 g of dry matter hold 300
    assert free_liquid_g([(1000.0, 90.0, 3.0)]) == pytest.approx(600.0)
    # newspaper at 6 % that holds three times its dry mass, common practice, takes it up
    assert free_liquid_g([(1000.0, 90.0, 3.0), (250.0, 6.0, 3.0)]) == 0.0


def test_nothing_has_no_moisture_and_no_ratio() -> None:
    assert str(mix_moisture_pct([])) == "nan"
    assert str(c_to_n_ratio([(1.0, 10.0, 40.0, 0.0)])) == "nan"
