"""The most to feed next follows from appetite, habit and what is left; holding back from the same."""

from __future__ import annotations

from dataclasses import replace

from underlid.advice.capacity import FEED_DAYS, feed_capacity, feeding
from underlid.advice.days import HOLD_DAYS, HOLD_MOST_DAYS, hold_feeding, waits_for
from underlid.advice.wording import text_of
from underlid.binmodel.food.uneaten import Food
from underlid.journal.units import US
from underlid.rules.finding import Condition, Finding, Verdict
from underlid.timeline import DAY_MS, rfc3339

FOOD = Food(
    fed_at_ms=0,
    fed_g=1000.0,
    left_g=0.0,
    left_most_g=200.0,
    eaten_g_d=255.0,
    slow_g_d=150.0,
    activity=0.85,
    used_up_chance=0.5,
    used_up_ms=1,
    used_up_band_ms=(0, 2),
    seen_used_up_ms=None,
    usual_days=None,
)


def test_the_most_to_feed_is_said_with_its_working() -> None:
    (advice,) = feed_capacity(FOOD, 20.0)
    assert (advice.act, advice.amount_g) == ("feed-at-most", 255.0 * FEED_DAYS)
    assert text_of(advice) == "Feed at most about 1 kg, enough for 4 days."
    for part in ("255 g a day", "4.0 days", "0.85", "0 g uneaten", "Rosso"):
        assert part in advice.working
    assert text_of(advice, US) == "Feed at most about 2.2 lb, enough for 4 days."


def test_the_keepers_habit_and_what_is_left_count() -> None:
    (weekly,) = feed_capacity(replace(FOOD, usual_days=7.0, left_g=300.0), 20.0)
    assert weekly.amount_g == 1480.0  # computed by hand: 7 · 255 − 300 = 1485, in steps of 10
    (monthly,) = feed_capacity(replace(FOOD, usual_days=30.0), 20.0)
    assert "7 days" in text_of(monthly)
    (full,) = feed_capacity(replace(FOOD, left_g=2000.0), 20.0)
    assert (full.act, full.amount_g) == ("hold-feeding", None)
    (careful,) = feed_capacity(FOOD, 20.0, careful=True)
    assert careful.amount_g == 510.0


def test_a_herd_that_hardly_eats_is_not_fed() -> None:
    (cold,) = feed_capacity(replace(FOOD, activity=0.01), 3.0)
    assert (cold.act, cold.amount_g) == ("hold-feeding", None)
    assert "3.0 °C" in text_of(cold)


def test_feeding_is_held_until_what_is_left_is_eaten() -> None:
    (advice,) = hold_feeding(replace(FOOD, left_g=1275.0))
    assert (advice.act, advice.days) == ("hold-feeding", 5.0)
    assert "1275 g are uneaten" in advice.working
    assert hold_feeding(None)[0].days == HOLD_DAYS
    assert hold_feeding(replace(FOOD, left_g=50_000.0))[0].days == HOLD_MOST_DAYS
    assert hold_feeding(replace(FOOD, activity=0.0))[0].days == HOLD_DAYS


def test_a_feed_waits_while_the_same_bin_is_told_to_hold_feeding() -> None:
    def waits(condition: Condition, cause: str = "") -> str:
        return waits_for([Finding(condition, Verdict.HOLDS, cause=cause)])

    sour = waits(Condition.SOUR)
    (advice,) = feed_capacity(FOOD, 20.0, waits=sour)
    assert (advice.act, advice.amount_g) == ("hold-feeding", None)
    assert text_of(advice) == "Do not feed yet: first its bed needs air again."
    assert "cool" in waits(Condition.OVERHEATING, "feed")
    assert "drier" in waits(Condition.TOO_WET)
    assert waits(Condition.OVERHEATING, "room") == waits(Condition.DRYING_OUT) == ""
    told = feeding(FOOD, 0, waits=sour)
    assert told is not None
    assert (told["next_feed_most_g"], told["text"]) == (0.0, text_of(advice))


def test_a_feed_is_due_now_when_nothing_is_left_though_its_rest_still_rots() -> None:
    def due(left_g: float) -> object:
        told = feeding(replace(FOOD, left_g=left_g, used_up_ms=5 * DAY_MS), DAY_MS)
        return told and told["next_feed_due"]

    assert (due(0.2), due(90.0)) == (rfc3339(DAY_MS), rfc3339(5 * DAY_MS))
