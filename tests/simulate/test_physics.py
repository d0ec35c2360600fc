"""The simulated bin keeps its accounts, and a smaller step gives the same bin."""

from __future__ import annotations

from math import pi, sin

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.binmodel.bins import Bin, BinKind
from underlid.journal.entries import BeddingAdded, Feed, Harvest, LiquidAdded, Portion, What, Worms
from underlid.simulate.deeds import apply, wipe_lid
from underlid.simulate.headspace import Around, saturated_kg_m3
from underlid.simulate.physics import PhysicalBin

DAY_S = 86_400
BIG_FEED = Feed(
    (Portion("melon", 3000.0), Portion("bread", 800.0)), 200.0, (Portion("newspaper", 200.0),)
)


def air(at_s: float, mean_c: float = 19.0, swing_k: float = 2.5) -> Around:
    return Around(mean_c + swing_k * sin(2 * pi * at_s / DAY_S), 0.62 * saturated_kg_m3(mean_c))


def run(
    bin_: PhysicalBin, days: float, step_s: float = 60.0, deeds: dict[int, What] | None = None
) -> None:
    """Let *days* pass; *deeds* are done at the hours they are listed under."""
    todo = dict(deeds or {})
    for step in range(round(days * DAY_S / step_s)):
        at_s = step * step_s
        for hour in [hour for hour in todo if hour * 3600 <= at_s]:
            apply(bin_, todo.pop(hour))
        bin_.step(step_s, air(at_s))


def fresh(kind: BinKind = BinKind.PLASTIC_TOTE, moisture_pct: float = 78.0) -> PhysicalBin:
    return PhysicalBin.of(Bin("tansy", "potting", kind=kind), moisture_pct, 19.0)


def films_kg(bin_: PhysicalBin) -> float:
    lid_g = bin_.film_g_m2 * bin_.bin.lid_area_m2
    return (lid_g + bin_.wall_film_g_m2 * bin_.head_walls_m2) / 1000.0


def water_kg(bin_: PhysicalBin) -> float:
    return bin_.water_kg + bin_.juice_kg + films_kg(bin_)


@pytest.mark.parametrize("kind", BinKind)
def test_no_gram_of_water_or_dry_matter_is_lost(kind: BinKind) -> None:
    bin_ = fresh(kind)
    water, dry = water_kg(bin_), bin_.solids_kg
    deeds: dict[int, What] = {
        5: BIG_FEED,
        40: LiquidAdded(1500.0),
        60: BeddingAdded((Portion("cardboard", 500.0),)),
        80: Harvest(2000.0),
    }
    run(bin_, 8, deeds=deeds)
    wipe_lid(bin_)
    book = bin_.account
    came = book.water_in_kg + book.water_made_kg
    went = book.water_out_as_vapour_kg + book.water_drained_kg + book.water_taken_kg
    assert water_kg(bin_) == pytest.approx(water + came - went, abs=1e-9)
    assert bin_.solids_kg == pytest.approx(
        dry + book.dry_in_kg - book.dry_burnt_kg - book.dry_taken_kg, abs=1e-9
    )
    assert book.heat_made_j == pytest.approx(18.6e6 * book.dry_burnt_kg)


@settings(max_examples=15)
@given(
    kind=st.sampled_from(BinKind),
    moisture_pct=st.floats(45.0, 90.0),
    melon_g=st.floats(1.0, 20_000.0),
    bread_g=st.floats(1.0, 5_000.0),
)
def test_whatever_is_fed_the_state_stays_possible(
    kind: BinKind, moisture_pct: float, melon_g: float, bread_g: float
) -> None:
    bin_ = fresh(kind, moisture_pct)
    run(bin_, 3, deeds={1: Feed((Portion("melon", melon_g), Portion("bread", bread_g)))})
    assert 0.0 <= bin_.film_g_m2 < 1000.0
    assert 5.0 < bin_.bed_c < 75.0
    assert 0.0 < bin_.rh_pct <= 100.0
    assert 0.0 < bin_.moisture_pct < 100.0
    assert min(bin_.scraps_kg, bin_.pulp_kg, bin_.juice_kg) >= 0.0


def test_a_smaller_step_gives_the_same_bin() -> None:
    ends = []
    for step_s in (120.0, 60.0, 15.0):
        bin_ = fresh()
        run(bin_, 3, step_s, {6: BIG_FEED})
        ends.append((bin_.bed_c, bin_.moisture_pct, bin_.film_g_m2))
    coarse, usual, fine = ends
    assert usual[0] == pytest.approx(fine[0], abs=0.02)
    assert usual[1] == pytest.approx(fine[1], abs=0.01)
    assert usual[2] == pytest.approx(fine[2], rel=0.01, abs=0.5)
    assert abs(usual[0] - fine[0]) < abs(coarse[0] - fine[0]) + 1e-6


def test_bread_heats_more_than_melon_and_melon_wets_more() -> None:
    """Dry matter drives heat, wet mass drives water (science page, section 3)."""
    bins = {}
    for food in ("melon", "bread"):
        bin_ = fresh()
        hottest = 0.0
        apply(bin_, Feed((Portion(food, 1800.0),)))
        for step in range(4 * 1440):
            bin_.step(60.0, air(step * 60.0, swing_k=0.0))
            hottest = max(hottest, bin_.bed_c)
        bins[food] = (hottest - 19.0, bin_.moisture_pct)
    assert 0.2 < bins["melon"][0] < 2.0
    assert 5.0 < bins["bread"][0] < 12.0
    assert bins["melon"][1] > bins["bread"][1]


def test_a_colder_shed_wets_the_lid() -> None:
    bin_ = fresh()
    bin_.bed_c = 25.0
    for _ in range(600):
        bin_.step(60.0, Around(12.0, 0.6 * saturated_kg_m3(12.0)))
    assert bin_.film_g_m2 > 40.0
    assert bin_.head.lid_c < bin_.head.head_c < bin_.bed_c


def test_worms_come_and_go() -> None:
    bin_ = fresh()
    apply(bin_, Worms(250.0))
    assert bin_.herd_kg == pytest.approx(1.25)
    apply(bin_, Worms(-9000.0))
    assert bin_.herd_kg == 0.0


@settings(max_examples=12)
@given(
    st.sampled_from(list(BinKind)),
    st.floats(60.0, 86.0),
    st.floats(200.0, 6000.0),
    st.floats(0.0, 150.0),
    st.floats(0.0, 4000.0),
)
def test_water_is_conserved_from_feed_to_drain_bed_and_lid(
    kind: BinKind, moisture_pct: float, fed_g: float, drained_g: float, poured_g: float
) -> None:
    bin_ = fresh(kind, moisture_pct)
    before = water_kg(bin_)
    feed = Feed((Portion("melon", fed_g),), drained_g, (Portion("newspaper", 100.0),))
    run(bin_, 2, step_s=300.0, deeds={1: feed, 20: LiquidAdded(poured_g)})
    book = bin_.account
    came = book.water_in_kg + book.water_made_kg
    went = book.water_out_as_vapour_kg + book.water_drained_kg
    assert water_kg(bin_) == pytest.approx(before + came - went, abs=1e-9)
    assert book.water_in_kg == pytest.approx(
        (0.92 * fed_g - drained_g + 6.0 + poured_g) / 1000.0, abs=1e-9
    )
