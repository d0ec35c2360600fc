"""The lid's film, the bed's own heat and the drying trend, against hand calculations."""

from __future__ import annotations

import math

import numpy as np
import pytest

from judge.series import START_MS, Curve, entry, melon, readings, setup
from underlid.binmodel.bins import Bin, BinKind, Setup
from underlid.binmodel.derived import Derived
from underlid.binmodel.food.feeds import feed_with_bedding, water_over_g, wet_feed
from underlid.binmodel.lids.film import lid_now
from underlid.binmodel.lids.looks import FILM_MOST_G_M2
from underlid.binmodel.thermal import loss_w_k_of, running_mean, self_heat, time_constant_h
from underlid.binmodel.water.drying import Drying, day_means
from underlid.binmodel.window import nothing_known
from underlid.journal.entries import BeddingAdded, Entry, Feed, LidLook, Portion, Sighting
from underlid.judge import Judge
from underlid.science.trend import BAND_Z
from underlid.timeline import HOUR_MS, MINUTE_MS


def judged(
    bin_curve: Curve,
    air_curve: Curve,
    hours: float,
    entries: tuple[Entry, ...] = (),
    place: Setup | None = None,
) -> Judge:
    judge = Judge(place or setup(), START_MS)
    judge.set_entries("tansy", entries)
    judge.add_readings(readings(bin_curve, air_curve, hours))
    judge.judge(START_MS + round(hours * HOUR_MS))
    return judge


def derived_of(judge: Judge) -> Derived:
    derived = judge.derived("tansy")
    assert derived is not None
    return derived


def air(_hour: float) -> dict[str, float]:
    return {"shed_temp_c": 19.0}


WET_G_M2_H = 5.8
"""Bed 25 °C, headspace 24, shed 19: the surface is at 24.9 °C (22.85 g/m³), the lid at 19 + 0.7·5 = 22.5
(19.94), the walls at 19 + 0.58·5 = 21.9 (19.26). 7.5 m/h off the bed, 9.5 onto the lid, 0.7 times that
onto the walls, 0.4 out to a shed of 10 g/m³: the headspace is at 20.49 g/m³, and 5.3 g/m²h condense on
the lid. Over all guesses it is a little more."""


def wet(_hour: float) -> dict[str, float]:
    return {"bed_temp_c": 25.0, "headspace_temp_c": 24.0, "headspace_rh_pct": 98.0}


def test_the_film_is_the_flux_times_the_hours_until_it_drips() -> None:
    judge = judged(wet, air, 96)
    flux = judge._memories["tansy"].film.last_flux(36 * 12)
    assert flux[-1] == pytest.approx(WET_G_M2_H, rel=0.15)
    film = derived_of(judge).series["lid_film_g_m2"]
    known = film[~np.isnan(film)]
    assert known[12 * 12] - known[12 * 4] == pytest.approx(WET_G_M2_H * 8, rel=0.25)
    assert known[-1] == FILM_MOST_G_M2


def test_the_film_dries_and_never_falls_below_zero() -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        return wet(hour) if hour < 6 else wet(hour) | {"headspace_rh_pct": 70.0}

    film = derived_of(judged(bin_curve, air, 24)).series["lid_film_g_m2"]
    known = film[~np.isnan(film)]
    assert known.max() == pytest.approx(6 * WET_G_M2_H, rel=0.35)
    assert known.min() == 0.0
    assert known[-1] == 0.0


def test_a_gap_holds_the_film_and_is_shown_as_a_gap() -> None:
    def bin_curve(hour: float) -> dict[str, float] | None:
        return None if 6 <= hour < 12 else wet(hour)

    film = derived_of(judged(bin_curve, air, 18)).series["lid_film_g_m2"][-18 * 12 :]
    assert np.isnan(film[7 * 12 : 11 * 12]).all()
    assert not np.isnan(film[13 * 12 :]).any()
    assert film[13 * 12] - film[5 * 12] < 4 * WET_G_M2_H


def test_a_probe_that_sends_once_an_hour_sees_the_same_film() -> None:
    often = derived_of(judged(wet, air, 12)).series["lid_film_g_m2"][-1]
    judge = Judge(setup(), START_MS)
    judge.add_readings(readings(wet, air, 12, step_min=60))
    judge.judge(START_MS + 12 * HOUR_MS)
    assert derived_of(judge).series["lid_film_g_m2"][-1] == pytest.approx(often, rel=0.02)


def test_late_data_and_all_at_once_give_the_same_film() -> None:
    made = readings(wet, air, 24)
    at_once = derived_of(judged(wet, air, 24)).series["lid_film_g_m2"]
    judge = Judge(setup(), START_MS)
    judge.add_readings(made[::2])
    judge.judge(START_MS + 20 * HOUR_MS)
    judge.add_readings(made[1::2])
    judge.judge(START_MS + 24 * HOUR_MS)
    np.testing.assert_allclose(derived_of(judge).series["lid_film_g_m2"], at_once, atol=1e-3)


@pytest.mark.parametrize(
    ("look", "low", "high"),
    [
        (LidLook.DRY, 0, 6),
        (LidLook.MIST, 3, 33),
        (LidLook.DROPS, 30, 240),
        (LidLook.DRIPPING, 240, 300),
    ],
)
def test_what_the_keeper_saw_sets_the_film(look: LidLook, low: float, high: float) -> None:
    judge = judged(wet, air, 12.25, (entry(12.2, Sighting(lid=look)),))
    film = judge._memories["tansy"].film
    assert low <= film.last(1)[0] <= high
    assert low <= film.band()[0] <= film.band()[1] <= high


def test_the_margin_knows_how_sure_it_is() -> None:
    window = judged(wet, air, 12)._window("tansy", START_MS + 12 * HOUR_MS)
    estimate = lid_now(window)
    assert estimate.margin_sd_k == pytest.approx(math.hypot(0.5, 0.46), abs=0.05)

    def probed(hour: float) -> dict[str, float]:
        return wet(hour) | {"lid_temp_c": 22.5}

    window = judged(probed, air, 12)._window("tansy", START_MS + 12 * HOUR_MS)
    assert (lid_now(window).margin_sd_k or 9) < (estimate.margin_sd_k or 0)


@pytest.mark.parametrize("bed_kg", [3.0, 22.0, 40.0])
def test_heat_leaves_through_the_same_walls_however_full_the_bin_is(bed_kg: float) -> None:
    window = nothing_known(Bin("b", "s", bed_kg=bed_kg), 0)
    assert loss_w_k_of(window) == pytest.approx(4.5)


def test_the_time_constant_of_the_science_page() -> None:
    # section 3, computed: 60 L plastic, 22 kg, UA 4.5 W/K → about 5 h
    assert time_constant_h(Bin("b", "s")) == pytest.approx(5.0, abs=0.4)
    assert time_constant_h(Bin("b", "s", kind=BinKind.WOODEN_BOX)) > 6.5
    big = Bin("b", "s", kind=BinKind.TROUGH, volume_l=600.0, bed_kg=220.0)
    assert time_constant_h(big) > time_constant_h(Bin("b", "s", kind=BinKind.TROUGH))


def test_self_heat_is_told_from_a_room_that_swings() -> None:
    own, tau = 3.0, time_constant_h(setup().bins["tansy"])
    w = 2 * math.pi / 24

    def room(hour: float) -> float:
        return 20 + 3 * math.sin(w * hour)

    def bed(hour: float) -> dict[str, float]:
        # the lumped bed's answer to the room: smaller by √(1 + (ωτ)²), later by atan(ωτ)
        lag = math.atan(w * tau)
        swing = 3 * math.cos(lag) * math.sin(w * hour - lag)
        return {"bed_temp_c": 20 + swing + own}

    judge = judged(bed, lambda hour: {"shed_temp_c": room(hour)}, 96)
    for hour in range(60, 96, 5):
        found = self_heat(judge._window("tansy", START_MS + hour * HOUR_MS))
        assert found is not None
        assert found.self_heat_k == pytest.approx(own, abs=0.4), hour
    series = derived_of(judge).series["self_heat_k"]
    assert series[-1] == pytest.approx(own, abs=0.4)


def test_self_heat_is_known_from_probes_that_send_seldom_and_lose_some() -> None:
    def seldom(every_h: float) -> Curve:
        return lambda hour: {"bed_temp_c": 26.0} if (hour / every_h) % 1.0 < 1e-6 else {}

    def room(hour: float) -> dict[str, float]:
        lost = round(hour * 4) % 9 == 4
        return {"shed_temp_c": 20.0} if (hour * 4) % 1.0 < 1e-6 and not lost else {}

    for every_h in (0.25, 0.5, 1.0, 1.25):
        found = self_heat(
            judged(seldom(every_h), room, 48)._window("tansy", START_MS + 48 * HOUR_MS)
        )
        assert found is not None, every_h
        assert found.self_heat_k == pytest.approx(6.0, abs=0.1)


def test_running_means_leave_out_what_is_unknown() -> None:
    values = np.array([1.0, np.nan, 3.0] * 20)
    assert running_mean(values, 30)[-1] == pytest.approx(2.0)
    assert np.isnan(running_mean(np.full(60, np.nan), 30)).all()


def test_day_means_remove_the_daily_swing() -> None:
    hours = np.arange(0, 96, 1 / 12)
    means = day_means(70 - 0.5 * hours / 24 + 2 * np.sin(2 * np.pi * hours / 24))
    np.testing.assert_allclose(np.diff(means), -0.125, atol=1e-6)


def test_days_until_a_limit_with_the_band_of_level_and_slope() -> None:
    # The same water every day: 70 to 65 % is 0.476 of a kilogram of dry matter, or 60/7 days at 0.5 points
    # a day now.
    sure = Drying(70.0, -0.5, -0.5, -0.5, 5.0, 2.0).days_until(65.0)
    assert sure == pytest.approx((60 / 7, 60 / 7 - 2 * BAND_Z, 60 / 7 + 2 * BAND_Z))
    chance = sum(Drying(70.0, -0.5, -0.6, -0.4, 5.0, 2.0).days_until(65.0) or ())
    assert chance > sum(sure)
    guess = Drying(70.0, -0.5, -1.2, 0.2, 5.0).days_until(65.0)
    assert guess is not None
    assert guess[1:] == (0.0, math.inf)
    assert Drying(70.0, 0.1, 0.0, 0.2, 5.0).days_until(65.0) is None
    assert Drying(64.0, -0.5, -0.6, -0.4, 5.0).days_until(65.0) is None


def test_which_feed_a_wet_lid_is_put_down_to() -> None:
    old_big, new_small = melon(0, 3000.0), entry(90, Feed((Portion("salad", 600.0),)), 2)
    bread = entry(95, Feed((Portion("bread", 800.0),)), 3)
    judge = Judge(setup(), START_MS)
    judge.set_entries("tansy", [old_big, new_small, bread])
    assert wet_feed(judge._window("tansy", START_MS + 24 * HOUR_MS)) == old_big
    assert wet_feed(judge._window("tansy", START_MS + 100 * HOUR_MS)) == old_big
    assert wet_feed(judge._window("tansy", START_MS + 230 * HOUR_MS)) in (old_big, new_small)
    assert wet_feed(judge._window("tansy", START_MS + 400 * HOUR_MS)) is None


def test_drained_liquid_and_bedding_count_against_a_feeds_water() -> None:
    plain = water_over_g(Feed((Portion("melon", 1800.0),)), 75.0)
    drained = water_over_g(Feed((Portion("melon", 1800.0),), drained_g=300.0), 75.0)
    covered = water_over_g(
        Feed((Portion("melon", 1800.0),), bedding=(Portion("newspaper", 440.0),)), 75.0
    )
    assert plain == pytest.approx(306)
    assert drained == pytest.approx(306 - 75)
    assert covered == pytest.approx(0, abs=5)


def test_bedding_since_the_feed_is_counted_with_it() -> None:
    later = entry(30, BeddingAdded((Portion("cardboard", 150.0),)), 2)
    judge = Judge(setup(), START_MS)
    judge.set_entries("tansy", [melon(20), later])
    found = feed_with_bedding(
        judge._window("tansy", START_MS + 31 * HOUR_MS + MINUTE_MS), melon(20).at_ms
    )
    assert found is not None
    assert found[1].bedding == (Portion("cardboard", 150.0),)
    assert feed_with_bedding(judge._window("tansy", START_MS + 31 * HOUR_MS), None) is None
