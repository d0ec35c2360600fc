"""Forecasts: made from what was known, right about as often as they say, on series of our own."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from judge.series import START_MS, Curve, entry, readings, setup
from underlid.binmodel.outlook.feed_pulse import USUAL, Pulses, warmth_k
from underlid.binmodel.outlook.forecast import Forecast, foresee
from underlid.binmodel.outlook.hours import FUTURE_H, PAST_H, after_lag, at_hours
from underlid.binmodel.outlook.moisture_outlook import moisture_ahead
from underlid.binmodel.outlook.shed_outlook import shed_ahead
from underlid.binmodel.outlook.spread import ORIGINS, SHAPES, spread_and_band
from underlid.binmodel.water.drying import Drying
from underlid.journal.entries import Entry, Feed, Portion
from underlid.judge import Judge
from underlid.memory import BinMemory
from underlid.pipeline import know
from underlid.timeline import HOUR_MS

NOW_H = 240.0


def calm(hour: float) -> dict[str, float]:
    swing = math.sin(2 * math.pi * hour / 24)
    return {
        "bed_temp_c": 20.0 + swing,
        "headspace_temp_c": 19.5 + swing,
        "headspace_rh_pct": 90.0 - 3 * swing,
        "soil_raw": 1760.0 + hour / 4,
    }


def air(hour: float) -> dict[str, float]:
    return {"shed_temp_c": 19.0 + 2.5 * math.sin(2 * math.pi * (hour + 3) / 24)}


def no_air(hour: float) -> None:
    return None


def made(
    until_h: float,
    entries: tuple[Entry, ...] = (),
    at_h: float = NOW_H,
    hot_k: float = 0.0,
    air_curve: Curve = air,
    bed_curve: Curve | None = None,
) -> Forecast:
    """Return the forecast at *at_h*, of a judge that has been given readings until *until_h*."""

    def bed(hour: float) -> dict[str, float]:
        values, warmer_k = calm(hour), hot_k * max(0.0, hour - 220) / 20
        return values | {
            "bed_temp_c": values["bed_temp_c"] + warmer_k,
            "headspace_temp_c": values["headspace_temp_c"] + 0.5 * warmer_k,
        }

    judge = Judge(setup(), START_MS)
    judge.set_entries("tansy", entries)
    judge.add_readings(readings(bed_curve or bed, air_curve, until_h, 10))
    at_ms = START_MS + round(at_h * HOUR_MS)
    judge._settle(START_MS // 300_000 + round(until_h * 12))
    memory: BinMemory = judge._memories["tansy"]
    window, _ = know(judge._window("tansy", at_ms), memory)
    return foresee(window, memory.film, memory.outlook.drying)


def bread(hour: float, mass_g: float = 1500.0) -> Entry:
    return entry(hour, Feed((Portion("bread", mass_g),)))


def test_all_four_courses_are_foreseen_for_72_hours_with_ordered_bands() -> None:
    forecast = made(NOW_H)
    for name in ("shed_temp_c", "bed_temp_c", "lid_film_g_m2", "moisture_pct"):
        course = getattr(forecast, name)
        assert course.middle.shape == (72,)
        assert (course.low <= course.middle + 1e-9).all()
        assert (course.middle <= course.high + 1e-9).all()
    assert forecast.lid_film_g_m2 is not None
    assert (forecast.lid_film_g_m2.low >= 0.0).all()


def test_the_daily_pattern_of_the_shed_goes_on() -> None:
    course = made(NOW_H).shed_temp_c
    assert course is not None
    true = np.array([air(NOW_H + hour)["shed_temp_c"] for hour in range(1, 73)])
    assert np.abs(course.middle - true).max() < 0.5


@settings(max_examples=5)
@given(st.floats(1.0, 60.0))
def test_what_comes_later_changes_no_forecast(more_h: float) -> None:
    first, second = made(NOW_H), made(NOW_H + more_h)
    for name in ("shed_temp_c", "bed_temp_c", "lid_film_g_m2", "moisture_pct"):
        one, other = getattr(first, name), getattr(second, name)
        np.testing.assert_array_equal(one.middle, other.middle)
        np.testing.assert_array_equal(one.high, other.high)


def test_a_feed_just_written_down_is_foreseen_to_heat_before_any_heat_is_seen() -> None:
    without, fed = made(NOW_H).bed_temp_c, made(NOW_H, (bread(NOW_H - 0.5),)).bed_temp_c
    assert without is not None
    assert fed is not None
    warmer = fed.middle - without.middle
    # Science page: 1.8 kg of bread give +7.7 K, the peak on day 1.5 to 2 (from memory)
    assert 3.0 < warmer.max() < 11.0
    assert 20 <= int(np.argmax(warmer)) <= 60
    assert (fed.high - fed.low)[40] > (without.high - without.low)[40]


def test_heat_that_is_seen_scales_the_pulse() -> None:
    little = made(NOW_H, (bread(215.0),), hot_k=0.3).bed_temp_c
    much = made(NOW_H, (bread(215.0),), hot_k=6.0).bed_temp_c
    assert little is not None
    assert much is not None
    assert much.middle[23] > little.middle[23] + 4.0


def test_no_feed_heats_beyond_what_oxygen_reaches_the_bed() -> None:
    # computed by hand: 600 W/m² · 0.18 m² · 0.65 are 70 W; over 79 kJ/K in 4.9 h, 4.5 W/K, 16 K;
    # 200 W/m² make 5 K
    ahead = made(NOW_H, (bread(NOW_H - 0.5, 20_000.0),)).bed_temp_c
    assert ahead is not None
    assert 20.0 + 5.0 < ahead.middle.max() < 21.5 + 16.0
    assert ahead.high.max() < ahead.middle.max() + 6.0


def test_what_cannot_burn_for_want_of_oxygen_burns_later() -> None:
    def warmth(kg: float, limit_w: float) -> npt.NDArray[np.float64]:
        fed = Pulses(np.array([0.0]), np.array([kg]))
        return warmth_k(fed, np.full(480, 25.0), 5.0, 4.5, limit_w, USUAL)[0, 0]

    free, held, more = warmth(8.0, 1e9), warmth(8.0, 35.0), warmth(16.0, 35.0)
    assert held.max() < 0.5 * free.max()
    assert free[400] < held[400]
    # oxygen reaches as deep as the root of what it is wanted for: twice the food makes √2 times the heat
    assert more[:60].max() / held[:60].max() == pytest.approx(np.sqrt(2.0), rel=0.05)
    np.testing.assert_array_equal(warmth(0.05, 35.0), warmth(0.05, 1e9))


def test_chances_of_a_limit_only_grow_with_time() -> None:
    forecast = made(NOW_H, (bread(NOW_H - 0.5, 4000.0),))
    for chances in (*forecast.hot_chance.values(), *forecast.wet_chance.values()):
        assert (np.diff(chances) >= 0.0).all()
        assert 0.0 <= chances[0] <= chances[-1] <= 1.0
    assert forecast.hot_chance[27.0][-1] > 0.5 > forecast.hot_chance[33.0][5]


def test_the_band_of_shed_air_holds_about_four_of_five_outcomes() -> None:
    inside: list[list[bool]] = [[] for _ in range(4)]
    leads = (2, 11, 23, 47)
    for number in range(150):
        random = np.random.default_rng(number)
        hours = np.arange(PAST_H + FUTURE_H)
        weather = np.zeros(len(hours))
        lasts = math.exp(-1 / random.uniform(12, 60))
        noise = random.normal(0.0, random.uniform(0.1, 0.5), len(hours))
        for hour in hours[1:]:
            weather[hour] = lasts * weather[hour - 1] + noise[hour]
        day = random.uniform(0.5, 4) * np.sin(2 * np.pi * (hours + random.uniform(0, 24)) / 24)
        values = 18 + weather + day
        ahead = shed_ahead(values[:PAST_H])
        assert ahead is not None
        away = np.abs(at_hours(values[PAST_H:]) - at_hours(ahead.mean))
        for place, lead in enumerate(leads):
            inside[place].append(bool(away[lead] <= at_hours(ahead.half)[lead]))
    for each in inside:
        assert 0.70 <= np.mean(each) <= 0.90


def test_a_band_is_as_wide_as_what_four_of_five_past_errors_stayed_within() -> None:
    """Nine small errors and one ten times as large: the sd is 3.2, four of five are within 1."""
    errors = np.ones((len(ORIGINS), FUTURE_H))
    errors[::10] = 10.0
    sd, half = spread_and_band(errors, np.ones(FUTURE_H))
    assert sd[0] > 2.5
    # also where few past forecasts are independent, and the prior counts for more
    assert (half < 1.5).all()
    _, none = spread_and_band(np.full_like(errors, np.nan), np.ones(FUTURE_H))
    # without past errors the band is the prior's, that of a normal error
    assert none == pytest.approx(np.full(FUTURE_H, 1.2816))
    _, calm_half = spread_and_band(0.1 * errors, np.ones(FUTURE_H))
    assert (calm_half < half).all()


def test_a_steady_beds_band_is_as_wide_as_half_of_what_its_probe_may_be_off_by() -> None:
    def steady(hour: float) -> dict[str, float]:
        return calm(0.0)

    bed = made(NOW_H, air_curve=lambda hour: air(0.0), bed_curve=steady).bed_temp_c
    assert bed is not None
    half = (bed.high - bed.low) / 2.0
    assert 0.128 < half[0] < 0.2


def test_a_bed_follows_its_shed_with_its_lag() -> None:
    followed = after_lag(np.full(60, 10.0), 5.0, 0.0)
    hours = np.arange(60)
    ends = 10 * (1 - np.exp(-(hours + 1) / 5))
    assert followed[1:] == pytest.approx(((ends[1:] + ends[:-1]) / 2), abs=1e-9)


def test_a_bed_without_shed_air_keeps_its_level_and_its_days() -> None:
    course = made(NOW_H, air_curve=no_air).bed_temp_c
    assert course is not None
    came = np.array([calm(NOW_H + hour)["bed_temp_c"] for hour in range(1, 73)])
    assert np.abs(course.middle - came).max() < 0.5
    assert np.mean((course.low <= came) & (came <= course.high)) > 0.9


def test_a_shed_that_grew_warm_unseen_is_not_taken_for_the_beds_own_heat() -> None:
    """Its probe is silent for three days, in which shed and bed grow 7 K warmer."""

    def warmer_k(hour: float) -> float:
        return 7.0 * min(1.0, max(0.0, hour - 160.0) / 48.0)

    def curve(hour: float) -> dict[str, float]:
        values = calm(hour)
        return values | {
            "bed_temp_c": values["bed_temp_c"] + warmer_k(hour),
            "headspace_temp_c": values["headspace_temp_c"] + warmer_k(hour),
        }

    def silent(hour: float) -> dict[str, float] | None:
        if 164.0 < hour < 237.0:
            return None
        return {"shed_temp_c": air(hour)["shed_temp_c"] + warmer_k(hour)}

    course = made(NOW_H, air_curve=silent, bed_curve=curve).bed_temp_c
    assert course is not None
    came = np.array([curve(NOW_H + hour)["bed_temp_c"] for hour in range(1, 73)])
    assert (course.middle - came).max() < 1.5


def test_the_courses_that_stand_for_all_have_mean_0_and_sd_1() -> None:
    assert SHAPES.mean(axis=0) == pytest.approx(np.zeros(FUTURE_H), abs=1e-9)
    assert SHAPES.std(axis=0) == pytest.approx(np.ones(FUTURE_H), abs=1e-9)


@pytest.mark.parametrize(("sd_pct", "level_sd_pct"), [(8.0, 7.75), (2.5, 1.5), (1.2, 1.0)])
def test_the_moistures_band_holds_the_samples_errors_whole(
    sd_pct: float, level_sd_pct: float
) -> None:
    # computed by hand: the place's 2 points are taken off as variances; all samples share 1 point
    _, sd = moisture_ahead(Drying(70.0, 0.0, 0.0, 0.0, 7.0, sd_pct))
    assert sd[0] == pytest.approx(level_sd_pct, abs=0.03)
    assert sd[71] == pytest.approx(sd[0])


def test_a_bed_without_a_trend_dries_as_beds_of_its_kind_and_ever_faster() -> None:
    untaught = Drying(70.0, None, None, None, 0.0, 2.0, usual_pct_d=(0.8, 0.3))
    course, sd = moisture_ahead(untaught)
    known, known_sd = moisture_ahead(
        replace(untaught, slope_pct_d=-0.8, slope_low_pct_d=-1.2, slope_high_pct_d=-0.4)
    )
    assert course == pytest.approx(known)
    # computed by hand: 3.5 days at 0.8 of 30 % dry matter are 2.8 / (1 - 2.8/30) points
    assert course[71] == pytest.approx(70.0 - 2.8 / (1.0 - 2.8 / 30.0))
    assert sd[71] == pytest.approx(np.hypot(1.0, 0.3 * 3.5))
    assert known_sd[71] > sd[71]
