"""Heat of the feed and heat of the room ask for opposite things; the peak says how much."""

from __future__ import annotations

import pytest

from underlid.advice.heat import Peak, cold_advice, heat_advice
from underlid.advice.lid import air_lid
from underlid.advice.wording import text_of
from underlid.journal.units import US


def test_heat_of_the_feed_is_taken_out_by_its_share_and_feeding_is_held() -> None:
    # computed by hand: (31 − 27)/(31 − 21) = 0.4 of what is left
    spread, hold = heat_advice("feed", Peak(31.0, 21.0, False), 27.0, 2000.0, None)
    assert (spread.act, hold.act) == ("spread-feed", "hold-feeding")
    assert spread.amount_g == pytest.approx(800.0)
    assert "two fifths of the feed out (up to 800 g) and spread the rest thin" in text_of(spread)
    for part in ("31.0 °C", "27.0 °C", "21.0 °C", "0.40"):
        assert part in spread.working


def test_a_foreseen_peak_is_said_and_a_hopeless_one_takes_all_out() -> None:
    foreseen, _ = heat_advice("feed", Peak(35.0, 20.0, True), 27.0, 3000.0, None)
    assert text_of(foreseen).endswith("; otherwise the bed would reach about 35 °C.")
    everything, _ = heat_advice("feed", Peak(30.0, 28.0, False), 27.0, 3000.0, None)
    assert "all you can reach" in text_of(everything)
    little, _ = heat_advice("feed", Peak(27.1, 20.0, False), 27.0, 3000.0, None)
    assert (text_of(little), little.amount_g) == ("Spread the feed thin.", None)


def test_without_shed_air_no_share_is_claimed() -> None:
    spread, _ = heat_advice("feed", None, 27.0, 2000.0, None)
    assert spread.amount_g is None
    assert "not known" in spread.working


def test_without_a_written_feed_none_is_to_be_taken_out() -> None:
    spread, hold = heat_advice("feed", Peak(31.0, 21.0, False), 27.0, None, None)
    assert (spread.act, spread.amount_g, hold.act) == ("spread-bed", None, "hold-feeding")
    assert "feed" not in text_of(spread)


def test_heat_of_the_room_is_kept_out() -> None:
    (advice,) = heat_advice("room", Peak(31.0, 30.6, False), 27.0, None, None)
    assert advice.act == "cool-room"
    assert "Shade" in text_of(advice)
    assert "pread" not in text_of(advice)
    assert "Self-heat 0.4 K" in advice.working


def test_an_unknown_cause_says_so() -> None:
    (advice,) = heat_advice("", None, 27.0, None, None)
    assert "not known" in advice.working
    assert "Self-heat" not in advice.working


def test_a_bed_far_too_cold_is_not_told_that_a_few_degrees_are_enough() -> None:
    (little,), (much,) = cold_advice(short_k=1.2), cold_advice(short_k=6.0)
    assert "a few degrees (about 3 °C) are enough" in text_of(little)
    assert "about 7 °C warmer" in text_of(much)


def test_the_lid_of_a_cold_bed_is_wiped_and_shut_again() -> None:
    for foreseen in (False, True):
        (warm,), (cold,) = air_lid(foreseen=foreseen), air_lid(foreseen=foreseen, cold=True)
        assert "open a crack" in text_of(warm)
        assert "shut it again" in text_of(cold)
        assert "open a crack" not in text_of(cold)


def test_steps_of_temperature_are_steps_in_the_keepers_units() -> None:
    (advice,) = cold_advice()
    assert "about 3 °C" in text_of(advice)
    assert "about 5 °F" in text_of(advice, US), (
        "a step of 3 K is 5.4 °F, not the temperature 37.4 °F"
    )
    assert (advice.amount_g, advice.amount_ml, advice.days) == (None, None, None)
