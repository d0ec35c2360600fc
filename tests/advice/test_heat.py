"""Heat of the feed and heat of the room ask for opposite things."""

from __future__ import annotations

from underlid.advice.heat import HOLD_DAYS, cold_advice, heat_advice
from underlid.journal.units import US


def test_heat_of_the_feed_is_spread_and_feeding_is_held() -> None:
    spread, hold = heat_advice("feed", 6.2, 40.0)
    assert (spread.act, hold.act) == ("spread-feed", "hold-feeding")
    assert "fed 40 h ago" in spread.text
    assert hold.days == HOLD_DAYS == 3.0
    assert "Self-heat 6.2 K" in hold.working


def test_heat_of_the_room_is_kept_out() -> None:
    (advice,) = heat_advice("room", 0.4, None)
    assert advice.act == "cool-room"
    assert "Shade" in advice.text
    assert "pread" not in advice.text
    assert "room" in advice.working


def test_an_unknown_cause_says_so() -> None:
    (advice,) = heat_advice("", None, None)
    assert "not known" in advice.working
    assert "Self-heat" not in advice.working


def test_steps_of_temperature_are_steps_in_the_keepers_units() -> None:
    (kelvin,), (fahrenheit,) = cold_advice(), cold_advice(US)
    assert "3" in kelvin.text
    assert "5" in fahrenheit.text
    assert "37" not in fahrenheit.text, "a step of 3 K is 5.4 °F, not the temperature 37.4 °F"
    assert (kelvin.amount_g, kelvin.amount_ml, kelvin.days) == (None, None, None)
