"""The advised bedding brings feed and bedding to the target; the working shows how."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.advice.bedding import bedding_dose, drier_bed, rounded_g, surplus_dose
from underlid.advice.room import Room
from underlid.advice.wording import text_of
from underlid.binmodel.water.bed import Bed
from underlid.journal.entries import Feed, Portion
from underlid.journal.feedstocks import FEEDSTOCKS, Feedstock
from underlid.journal.units import US
from underlid.rules.finding import Advice
from underlid.science.mixing import mix_moisture_pct

WITHIN_PCT = 0.5
"""How near the target the mix must come, % points."""

FEEDS = [stock for stock in FEEDSTOCKS.values() if stock.group == "feed"]
DRY = [
    stock for stock in FEEDSTOCKS.values() if stock.group == "bedding" and stock.id != "castings"
]
TARGETS_PCT = st.floats(65.0, 85.0)
MELON = Feed((Portion("melon", 1800.0),))
WIDE = Room(free_l=1e6, bed_l=37.0, density_kg_l=0.15)
BEDS = st.builds(Bed, st.floats(1.0, 60.0), st.floats(60.0, 94.0), st.floats(0.0, 2.0))


def mixed_pct(feed: Feed, film_g: float, dose_g: float, bedding: Feedstock) -> float:
    """Return the moisture of all that comes together, weighed up anew."""
    stocks = [(one.mass_g, FEEDSTOCKS[one.ingredient]) for one in (*feed.portions, *feed.bedding)]
    water = sum(mass * stock.moisture_pct / 100.0 for mass, stock in stocks)
    mass = sum(mass for mass, _ in stocks)
    water += film_g - feed.drained_g + dose_g * bedding.moisture_pct / 100.0
    return 100.0 * water / (mass + film_g - feed.drained_g + dose_g)


def grams(advice: tuple[Advice, ...]) -> float:
    """Return what is advised, 0 for no advice."""
    if not advice:
        return 0.0
    assert len(advice) == 1
    assert advice[0].act in ("add-bedding", "mix-bedding")
    assert advice[0].amount_g is not None
    return advice[0].amount_g


portions = st.lists(
    st.builds(Portion, st.sampled_from([stock.id for stock in FEEDS]), st.floats(20.0, 5000.0)),
    min_size=1,
    max_size=4,
)
covers = st.lists(
    st.builds(Portion, st.sampled_from([stock.id for stock in DRY]), st.floats(5.0, 200.0)),
    max_size=2,
)


@given(
    portions, covers, st.floats(0.0, 0.2), st.floats(0.0, 60.0), TARGETS_PCT, st.sampled_from(DRY)
)
def test_feed_and_bedding_meet_the_target(
    fed: list[Portion],
    cover: list[Portion],
    drained: float,
    film_g: float,
    target_pct: float,
    bedding: Feedstock,
) -> None:
    drained_g = drained * sum(portion.mass_g for portion in fed)
    feed = Feed(tuple(fed), drained_g, tuple(cover))
    dose_g = grams(bedding_dose(feed, film_g, target_pct, bedding))
    reached = mixed_pct(feed, film_g, dose_g, bedding)
    if dose_g:
        assert reached == pytest.approx(target_pct, abs=WITHIN_PCT)
    else:  # dry enough already, or two handfuls would do
        handful = mixed_pct(feed, film_g, 50.5, bedding)
        assert reached <= target_pct + WITHIN_PCT or handful <= target_pct + WITHIN_PCT


@pytest.mark.parametrize(
    ("feed", "target_pct", "dose_g"),
    [  # computed by hand: 457, 639 and 345 g, weighed to 10 g
        (MELON, 75.0, 460.0),
        (MELON, 70.0, 640.0),
        (Feed(MELON.portions, drained_g=300.0), 75.0, 340.0),
    ],
)
def test_cardboard_for_a_melon(feed: Feed, target_pct: float, dose_g: float) -> None:
    found = bedding_dose(feed, 0.0, target_pct, FEEDSTOCKS["cardboard"])
    assert grams(found) == pytest.approx(dose_g, abs=10.0)


def test_bedding_that_is_there_already_counts() -> None:
    covered = Feed(MELON.portions, bedding=(Portion("cardboard", 300.0),))
    assert grams(bedding_dose(covered, 0.0, 75.0, FEEDSTOCKS["cardboard"])) == 155.0
    enough = Feed(MELON.portions, bedding=(Portion("cardboard", 460.0),))
    assert bedding_dose(enough, 0.0, 75.0, FEEDSTOCKS["cardboard"]) == ()


def test_water_on_the_lid_counts_and_can_stand_alone() -> None:
    newspaper = FEEDSTOCKS["newspaper"]
    with_film = grams(bedding_dose(MELON, 60.0, 75.0, newspaper))
    assert with_film > grams(bedding_dose(MELON, 0.0, 75.0, newspaper))
    alone = bedding_dose(None, 240.0, 75.0, newspaper)
    dose_g = grams(alone)
    mixed = mix_moisture_pct([(240.0, 100.0), (dose_g, newspaper.moisture_pct)])
    assert mixed == pytest.approx(75.0, abs=WITHIN_PCT)
    assert "over the bed" in text_of(alone[0])


def test_nothing_is_advised_where_nothing_is_needed() -> None:
    newspaper = FEEDSTOCKS["newspaper"]
    assert bedding_dose(None, 0.0, 75.0, newspaper) == ()
    assert bedding_dose(None, 120.0, 75.0, newspaper) == (), "43 g are not worth a walk"
    assert bedding_dose(Feed((Portion("bread", 500.0),)), 0.0, 75.0, newspaper) == ()


def test_the_sentence_has_the_amount_in_the_keepers_units_and_the_working_its_source() -> None:
    newspaper = FEEDSTOCKS["newspaper"]
    (advice,) = bedding_dose(MELON, 0.0, 75.0, newspaper)
    assert text_of(advice) == "Add about 440 g of dry shredded newspaper over the feed."
    for part in ("(M − G)/(G − Mb)", "1800 g", "92 %", "75 %", "6 %", "Cornell"):
        assert part in advice.working
    # computed by hand: melon 144 g dry at C:N 22 and 2 % N, paper 414 g dry at 600 and 0.1 %
    assert "C:N then about 95; 43 g are enough for a C:N of 30" in advice.working
    assert "No liquid is free then" in advice.working
    assert text_of(advice, US) == "Add about 1 lb of dry shredded newspaper over the feed."


def test_a_bedding_too_moist_to_dry_anything_is_replaced() -> None:
    castings = FEEDSTOCKS["castings"]
    (advice,) = bedding_dose(MELON, 0.0, 65.0, castings)
    assert "newspaper" in text_of(advice)
    assert bedding_dose(MELON, 0.0, 5.0, castings) == ()
    assert drier_bed(Bed(5.5, 80.0, 0.0), 0.0, 5.0, 6.0, castings, WIDE) == ()


def test_a_feedstock_that_the_table_no_longer_has_is_taken_as_scraps() -> None:
    gone = Feed((Portion("dragon-fruit", 1000.0),))
    scraps = Feed((Portion("vegetable-scraps", 1000.0),))
    newspaper = FEEDSTOCKS["newspaper"]
    assert grams(bedding_dose(gone, 0.0, 75.0, newspaper)) == grams(
        bedding_dose(scraps, 0.0, 75.0, newspaper)
    )


def bed_mixed_pct(bed: Bed, film_g: float, dose: float, bedding: Feedstock) -> float:
    """Return the moisture of bed, food water, lid water and bedding, weighed up anew."""
    water = 1000.0 * (bed.water_kg + bed.locked_kg) + film_g + dose * bedding.moisture_pct / 100.0
    return 100.0 * water / (1000.0 * (bed.mass_kg + bed.locked_kg) + film_g + dose)


@given(BEDS, st.floats(0.0, 60.0), st.floats(65.0, 77.0), st.sampled_from(DRY))
def test_a_wet_bed_is_brought_to_its_target(
    bed: Bed, film_g: float, target_pct: float, bedding: Feedstock
) -> None:
    dose = grams(drier_bed(bed, film_g, target_pct, 85.0, bedding, WIDE))
    reached = bed_mixed_pct(bed, film_g, dose, bedding)
    if dose:
        assert target_pct - WITHIN_PCT <= reached <= target_pct + WITHIN_PCT
    else:
        assert bed_mixed_pct(bed, film_g, 50.5, bedding) <= target_pct + WITHIN_PCT


def test_a_large_dose_is_split_by_what_fits_and_says_what_brings_it_below_the_limit() -> None:
    room = Room(free_l=23.0, bed_l=37.0, density_kg_l=0.15)
    (advice,) = drier_bed(Bed(5.5, 87.0, 0.0), 0.0, 75.0, 85.0, FEEDSTOCKS["cardboard"], room)
    # computed by hand: 5.5 kg dry at 87 % weigh 42.3 kg; 42.3 · 12/67 = 7.58 kg, 42.3 · 2/77 = 1.1 kg.
    # 7.6 kg pack to 46.6 L, 23 fit; (46.6 − 23)/(37 + 46.6) = 28 % of the bed, so 72 % of both are enough.
    assert advice.amount_g == pytest.approx(5450.0, abs=50.0)
    assert "Take about 12 kg of the wet bed out first, then mix about 5.4 kg of dry" in text_of(
        advice
    )
    assert "in 2 portions of 2.7 kg, one every 2 days" in text_of(advice)
    assert "first 790 g bring it below its limit" in text_of(advice)
    assert "anew" not in text_of(advice)
    (drowned,) = drier_bed(Bed(5.5, 92.0, 0.0), 0.0, 75.0, 85.0, FEEDSTOCKS["cardboard"], room)
    assert "sooner set up anew" in text_of(drowned)
    (small,) = drier_bed(Bed(5.5, 77.0, 0.0), 0.0, 75.0, 85.0, FEEDSTOCKS["cardboard"], room)
    assert "portions" not in text_of(small)
    assert "out first" not in text_of(small)


def test_the_beds_own_surplus_is_told_apart_from_the_feed_and_counted_once() -> None:
    newspaper, room = FEEDSTOCKS["newspaper"], Room(30.0, 37.0, 0.15)
    wet = Bed(5.5, 80.0, 0.5)
    (over,) = bedding_dose(MELON, 30.0, 75.0, newspaper)
    (more,) = surplus_dose(wet, 30.0, over.amount_g or 0.0, 75.0, newspaper, room)
    both_g = (over.amount_g or 0.0) + (more.amount_g or 0.0)
    assert bed_mixed_pct(wet, 30.0, both_g, newspaper) == pytest.approx(75.0, abs=WITHIN_PCT)
    assert "mix another" in text_of(more)
    (alone,) = surplus_dose(wet, 30.0, 0.0, 75.0, newspaper, room)
    assert "mix about" in text_of(alone)
    near = Bed(5.5, 76.5, 0.5)
    assert surplus_dose(near, 30.0, over.amount_g or 0.0, 75.0, newspaper, room) == ()


def test_leaves_that_hold_less_than_the_target_asks_for_say_what_runs_down() -> None:
    (leaves,) = bedding_dose(MELON, 0.0, 75.0, FEEDSTOCKS["dry-leaves"])
    assert "are beyond what these hold, and run down" in leaves.working


@given(st.floats(20.0, 20_000.0))
def test_rounding_moves_a_dose_by_a_fortieth_at_the_most(mass_g: float) -> None:
    assert abs(rounded_g(mass_g) - mass_g) <= mass_g / 40.0 + 1e-9
