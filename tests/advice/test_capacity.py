"""What a herd eats follows its mass and the bed's temperature, and comes with its band."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.advice.capacity import EATEN_BAND_KG_KG_D, EATEN_KG_KG_D, appetite, feed_capacity
from underlid.journal.units import US

HERDS_KG = st.floats(0.05, 50.0)
TEMPS_C = st.floats(-10.0, 45.0)


@pytest.mark.parametrize(
    ("temp_c", "eaten_g_d"),
    [(25.0, 250.0), (20.0, 212.8), (15.0, 131.0), (10.0, 47.8), (35.0, 0.0)],
)
def test_a_kilogram_of_worms_at_several_temperatures(temp_c: float, eaten_g_d: float) -> None:
    # computed: 0.25 kg a kg and day, common practice, times the model of Rosso 1993
    assert appetite(1.0, temp_c).eaten_g_d == pytest.approx(eaten_g_d, abs=0.2)


@given(HERDS_KG, TEMPS_C)
def test_appetite_is_in_its_band_and_grows_with_the_herd(herd_kg: float, temp_c: float) -> None:
    one, two = appetite(herd_kg, temp_c), appetite(2.0 * herd_kg, temp_c)
    assert 0.0 <= one.low_g_d <= one.eaten_g_d <= one.high_g_d
    assert two.eaten_g_d == pytest.approx(2.0 * one.eaten_g_d)
    assert one.eaten_g_d <= 1000.0 * EATEN_KG_KG_D * herd_kg + 1e-9
    assert EATEN_BAND_KG_KG_D[0] < EATEN_KG_KG_D < EATEN_BAND_KG_KG_D[1]


@given(HERDS_KG, TEMPS_C, st.floats(0.0, 10.0))
def test_a_herd_that_stops_eating_sooner_eats_less(
    herd_kg: float, temp_c: float, sooner_k: float
) -> None:
    # below the best temperature of 25 °C; from there up the hot end decides
    hardy, tender = appetite(herd_kg, temp_c), appetite(herd_kg, temp_c, 4.0 + sooner_k)
    if temp_c <= 25.0:
        assert tender.eaten_g_d <= hardy.eaten_g_d + 1e-9
    assert tender.eaten_g_d >= 0.0


def test_a_feed_lasts_as_long_as_the_herd_needs() -> None:
    herd = appetite(1.2, 25.0)  # computed by hand: 300 g a day
    assert herd.days_for(1800.0) == pytest.approx(6.0)
    assert herd.days_for(0.0) == 0.0
    assert math.isinf(appetite(1.2, 2.0).days_for(1800.0))
    assert appetite(1.2, 2.0).days_for(0.0) == 0.0


def test_the_most_to_feed_is_said_with_its_band_and_source() -> None:
    (advice,) = feed_capacity(1.2, 20.0)
    # computed: 1.2 kg · 0.25 · 0.8508 = 255 g, band 142.9 to 510.5; advised in steps of 10 g
    assert (advice.act, advice.amount_g) == ("feed-at-most", 260.0)
    assert advice.text == "Feed at most about 260 g a day."
    for part in ("1.20 kg", "0.25", "0.85", "143 to 510", "common practice", "Rosso"):
        assert part in advice.working
    (ounces,) = feed_capacity(1.2, 20.0, units=US)
    assert "oz" in ounces.text


def test_a_herd_that_hardly_eats_is_not_fed() -> None:
    (cold,) = feed_capacity(1.2, 3.0)
    assert (cold.act, cold.amount_g) == ("hold-feeding", None)
    assert "3.0 °C" in cold.text
    (tropical,) = feed_capacity(1.2, 9.0, cold_end_c=10.0)
    assert tropical.act == "hold-feeding"
    assert feed_capacity(1.2, 9.0)[0].act == "feed-at-most"
