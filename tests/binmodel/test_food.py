"""What is left of the feeds, and when they are used up: by appetite, by rot, and by what was seen."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from judge.series import START_MS, entry, readings, setup
from underlid.binmodel.food.uneaten import Food, food
from underlid.binmodel.food.used_up import Pace
from underlid.journal.entries import Entry, Feed, Portion, Sighting
from underlid.judge import Judge
from underlid.timeline import DAY_MS, HOUR_MS


def found(temp_c: float, days: float, *entries: Entry) -> Food | None:
    """Return the food of a bin of 1 kg of worms after so many days at one temperature."""
    judge = Judge(setup(), START_MS)
    judge.set_entries("tansy", entries)
    judge.add_readings(readings(lambda _: {"bed_temp_c": temp_c}, lambda _: None, 24 * days, 30))
    now_ms = START_MS + round(days * DAY_MS)
    judge.judge(now_ms)
    return food(judge._window("tansy", now_ms))


def fed(day: float, mass_g: float, number: int = 1) -> Entry:
    return entry(24 * day, Feed((Portion("melon", mass_g),)), number)


@pytest.mark.parametrize(
    ("temp_c", "eaten_g_d", "rots"),
    [(25.0, 250.0, 1.375), (20.0, 212.8, 1.0), (15.0, 131.0, 0.726), (10.0, 47.8, 0.528)],
)
def test_a_kilogram_of_worms_eats_by_the_temperature_and_the_rest_rots(
    temp_c: float, eaten_g_d: float, rots: float
) -> None:
    # computed: 0.25 kg a kg and day, common practice, times the model of Rosso 1993; nine tenths rot in
    # 7.8 days at 20 °C, times Haug's factor
    left_g = 1000.0
    for _ in range(2000):
        left_g -= 2.0 / 2000.0 * (eaten_g_d + 0.2952 * rots * left_g)
    now = found(temp_c, 3, fed(1, 1000.0))
    assert now is not None
    assert now.eaten_g_d == pytest.approx(eaten_g_d, rel=0.05)
    assert now.left_g == pytest.approx(left_g, abs=25.0)
    assert 0.0 < now.slow_g_d < now.eaten_g_d
    assert now.left_most_g > now.left_g


def test_the_first_cold_morning_does_not_speak_for_all_days() -> None:
    shown = [found(8.0, hours / 24, fed(0, 1000.0)) for hours in (2, 6, 12, 24)]
    eaten = [one.eaten_g_d for one in shown if one is not None]
    assert len(eaten) == 4
    # computed: 16.5 °C after two hours, 250 g · 0.63; 8 °C after a day, 250 g · 0.09
    assert eaten[0] == pytest.approx(163.0, rel=0.1)
    assert eaten == sorted(eaten, reverse=True)
    assert eaten[-1] < 35.0


def test_a_feed_lasts_until_it_has_rotted_or_a_herd_with_little_food_has_eaten_it() -> None:
    big, small = found(25.0, 3, fed(1, 12_000.0)), found(25.0, 3, fed(1, 300.0))
    assert big is not None
    assert small is not None
    assert big.left_g == pytest.approx(5000.0, abs=200.0)
    assert small.left_g == 0.0
    # Haug 1993: decay at 25 °C is 1.375 times that at 20 °C. Big: both paces take 7.0 days at 20 °C, with
    # an sd of 0.25 and 0.4; small: in four bins of ten the herd needs 2.4 (computed from the mixture)
    for one, days in ((big, (4.7, 7.0, 10.4)), (small, (1.8, 5.6, 8.9))):
        dates = (one.used_up_band_ms[0], one.used_up_ms, one.used_up_band_ms[1])
        for date_ms, day in zip(dates, days, strict=True):
            assert date_ms == pytest.approx(START_MS + (1 + day / 1.375) * DAY_MS, abs=0.3 * DAY_MS)
    assert big.used_up_chance < 0.01
    assert small.used_up_chance == pytest.approx(0.25, abs=0.03)


def test_looks_tell_whether_the_herd_or_rotting_sets_the_pace() -> None:
    feeds = (fed(0, 300.0), fed(5, 300.0, 2), fed(10, 300.0, 3))

    def looked(*, used_up: bool) -> Food:
        looks = [entry(24 * day, Sighting(used_up=used_up), 9 + day) for day in (4, 9)]
        now = found(20.0, 13, *feeds, *looks)
        assert now is not None
        return now

    unseen, soon, late = found(20.0, 13, *feeds), looked(used_up=True), looked(used_up=False)
    assert unseen is not None
    assert soon.used_up_chance > 0.6 > 0.4 > unseen.used_up_chance > 0.1 > late.used_up_chance
    assert soon.used_up_ms is not None
    assert unseen.used_up_ms is not None
    assert late.used_up_ms is not None
    assert soon.used_up_ms < unseen.used_up_ms < late.used_up_ms


def test_food_seen_later_is_used_up_later() -> None:
    now = found(20.0, 9, fed(1, 400.0))
    seen = found(20.0, 9, fed(1, 400.0), entry(24 * 8, Sighting(used_up=False), 2))
    assert now is not None
    assert seen is not None
    # computed: by rot Φ(ln(8/7.02)/0.25) = 0.70; seen left after 7 days, (0.70 − 0.495)/(1 − 0.495) = 0.40;
    # so late a look leaves the herd's pace (2.65 days) one chance in ten
    assert now.used_up_chance == pytest.approx(0.82, abs=0.03)
    assert seen.used_up_chance == pytest.approx(0.42, abs=0.05)
    assert now.used_up_ms is not None
    assert seen.used_up_ms is not None
    assert now.used_up_ms < seen.used_up_ms


def test_what_was_seen_sets_the_sum_right() -> None:
    gone = entry(48, Sighting(used_up=True), 2)
    now = found(20.0, 3, fed(1, 3000.0), gone)
    assert now is not None
    assert (now.seen_used_up_ms, now.left_g) == (gone.at_ms, 0.0)
    still = entry(24 * 9, Sighting(used_up=False), 2)
    now = found(20.0, 9, fed(1, 400.0), still)
    assert now is not None
    assert now.left_g == pytest.approx(60.0, abs=1.0)
    again = found(20.0, 3, fed(1, 3000.0), gone, fed(2.5, 500.0, 3))
    assert again is not None
    assert again.seen_used_up_ms is None
    assert again.left_g > 300.0


def test_a_herd_in_the_cold_never_finishes() -> None:
    now = found(3.0, 3, fed(1, 500.0))
    assert now is not None
    assert now.used_up_ms is None
    assert now.activity == 0.0


def test_the_habit_is_the_middle_gap_between_feeds() -> None:
    now = found(20.0, 9, fed(1, 500.0), fed(4, 500.0, 2), fed(8, 500.0, 3))
    assert now is not None
    assert now.usual_days == pytest.approx(3.5)
    one = found(20.0, 9, fed(8, 500.0))
    assert one is not None
    assert one.usual_days is None


def test_without_feeds_or_temperatures_nothing_is_said() -> None:
    assert found(20.0, 3) is None
    judge = Judge(setup(), START_MS)
    judge.set_entries("tansy", [fed(1, 500.0)])
    assert food(judge._window("tansy", START_MS + 3 * DAY_MS)) is None


@given(
    st.lists(st.tuples(st.floats(0.0, 12.0), st.floats(20.0, 5000.0)), min_size=1, max_size=5),
    st.floats(5.0, 33.0),
)
def test_no_more_is_left_than_was_fed(feeds: list[tuple[float, float]], temp_c: float) -> None:
    judge = Judge(setup(), START_MS)
    entries = [fed(day, grams, number) for number, (day, grams) in enumerate(feeds)]
    judge.set_entries("tansy", entries)
    judge.add_readings(readings(lambda _: {"bed_temp_c": temp_c}, lambda _: None, 20, 300))
    now_ms = START_MS + 12 * DAY_MS + HOUR_MS
    judge.judge(now_ms)
    now = food(judge._window("tansy", now_ms))
    assert now is not None
    assert 0.0 <= now.left_g <= now.left_most_g + 1e-6 <= sum(g for _, g in feeds) + 1.0


def test_food_that_was_seen_late_is_used_up_after_it_was_seen() -> None:
    for seen_days in (10.0, 18.0, 30.0):
        for pace in (Pace(0.0, 3.0), Pace(0.4, 3.0)):
            days = pace.days(0.5, seen_days)
            assert days > seen_days
            assert pace.chance(days, seen_days) == pytest.approx(0.5, abs=0.01)
