"""The film under many guesses: what weighs them, what opens a lid, and no matter when it ran."""

from __future__ import annotations

import math
from math import nan

import numpy as np
import pytest

from judge.series import START_MS, entry, readings, run, setup
from underlid.binmodel.bins import BinKind
from underlid.binmodel.lids.cloud import Cloud
from underlid.binmodel.lids.hours import LidHour
from underlid.binmodel.lids.vapour import settled
from underlid.binmodel.outlook.lid_outlook import _factors
from underlid.journal.entries import LidLook, Sighting
from underlid.judge import Judge
from underlid.timeline import HOUR_MS

LIMIT_G_M2 = 70.0


def hour(
    over_k: float,
    rh_pct: float = nan,
    *,
    shed_c: float = 18.0,
    lid_c: float = nan,
    looks: tuple[LidLook, ...] = (),
    open_h: float = 0.0,
    cover_kg_m2: float = 0.0,
) -> LidHour:
    """Return an hour of a bed *over_k* warmer than its shed, the headspace 0.6 of the way."""
    return LidHour(
        shed_c + over_k, shed_c + 0.6 * over_k, rh_pct, shed_c, 60.0, lid_c,
        looks=looks, open_h=open_h, cover_kg_m2=cover_kg_m2,
    )  # fmt: skip


def after(*hours: LidHour, kind: BinKind = BinKind.PLASTIC_TOTE) -> Cloud:
    cloud = Cloud(kind)
    for one in hours:
        cloud.step(one)
    return cloud


def test_a_warm_bed_wets_its_lid_and_a_cool_one_does_not() -> None:
    assert after(*[hour(4.0)] * 48).chance(LIMIT_G_M2) > 0.8
    assert after(*[hour(0.0)] * 240).chance(LIMIT_G_M2) < 0.1
    assert after(*[hour(-2.0)] * 48).chance(LIMIT_G_M2) < 0.05


def test_what_is_not_known_widens_the_band_day_by_day() -> None:
    widths = []
    for days in (1, 3, 6):
        low, high = after(*[hour(0.8, 100.0)] * (24 * days)).quantiles(0.1, 0.9)
        widths.append(high - low)
    assert widths == sorted(widths)
    assert widths[-1] > 100.0


def test_low_humidity_tells_of_air_that_comes_in_and_keeps_the_lid_dry() -> None:
    closed = after(*[hour(2.0, 98.5)] * 72)
    airy = after(*[hour(2.0, 87.0)] * 72)
    assert airy.quantiles(0.5)[0] < closed.quantiles(0.5)[0]
    mean = [float((one.weight * one.guesses.out_m_h).sum()) for one in (closed, airy)]
    assert mean[1] > mean[0]


def test_a_sensor_at_its_end_speaks_only_against_guesses_of_drier_air() -> None:
    silent, saturated = after(*[hour(2.0)] * 72), after(*[hour(2.0, 100.0)] * 72)
    assert saturated.film.tolist() == silent.film.tolist()
    assert saturated.humid_h == 0
    airy = saturated.guesses.out_m_h > 1.0
    assert float(saturated.weight[airy].sum()) < 0.8 * float(silent.weight[airy].sum())
    blameless = np.isclose(saturated.weight, saturated.weight.max())
    assert blameless.sum() > 20
    assert saturated.guesses.out_m_h[blameless].mean() < saturated.guesses.out_m_h.mean()


def test_a_sensor_that_never_leaves_its_end_is_asked_for_three_days() -> None:
    three, nine = ([hour(2.0, 100.0)] * (24 * days) for days in (3, 9))
    assert after(*nine).weight.tolist() == after(*three).weight.tolist()
    down = [*nine, hour(2.0, 90.0)]
    assert after(*down, *three).weight.tolist() != after(*down).weight.tolist()


def test_a_lid_left_open_dries_whatever_the_guesses_say() -> None:
    wet = [hour(3.0, 97.0)] * 72
    opened = after(*wet, *[hour(3.0, 60.0)] * 12)
    assert after(*wet, *[hour(3.0, 97.0)] * 12).quantiles(0.5)[0] > 150.0
    assert opened.quantiles(0.9)[0] < 5.0


def test_a_lid_lifted_for_minutes_loses_a_little() -> None:
    wet = [hour(2.0)] * 24
    before = after(*wet, hour(2.0)).mean_flux()
    lifted = after(*wet, hour(2.0, open_h=0.1)).mean_flux()
    assert 3.0 < before - lifted < 15.0


def test_bedding_on_top_holds_vapour_back() -> None:
    bare, covered = after(*[hour(2.0)] * 24), after(hour(2.0, cover_kg_m2=3.0), *[hour(2.0)] * 23)
    assert covered.quantiles(0.5)[0] < 0.6 * bare.quantiles(0.5)[0]


def test_what_comes_in_goes_out_onto_the_lid_or_onto_the_walls() -> None:
    """Conservation of vapour, whichever of them is wet and whichever dry."""
    supply, ways = np.array([150.0, 150.0, 60.0]), np.array([8.0, 8.0, 8.0])
    lid, walls = np.array([9.5, 9.5, 9.5]), np.array([7.6, 0.0, 7.6])
    at_lid, at_walls = np.array([17.0, 17.0, 17.0]), np.array([16.0, 16.0, 16.0])
    inside, onto, onto_walls = settled(supply, ways, (lid, at_lid, 0.5), (walls, at_walls, 0.2))
    taken = onto * (inside - at_lid) + onto_walls * (inside - at_walls)
    assert supply - ways * inside == pytest.approx(taken)
    assert onto.tolist() == [9.5, 9.5, 4.75], "only what is wet gives vapour"
    assert onto_walls.tolist() == pytest.approx([7.6, 0.0, 1.52])
    assert inside[0] < inside[1], "walls take a share"


def test_a_dry_lid_gives_no_water_to_colder_walls() -> None:
    """They take it first, and then too little may be left for a lid that is less cold."""
    one = np.array([1.0])
    lid, walls = (9.5 * one, 21.0 * one, 0.0), (6.65 * one, 18.0 * one, 0.0)
    inside, onto, onto_walls = settled(7.5 * 23.0 * one, 7.5 * one, lid, walls)
    assert inside[0] < 21.0
    assert (onto[0], onto_walls[0]) == (0.0, 6.65)


def test_a_wet_lid_of_cloth_dries_through_it() -> None:
    wet = [hour(4.0)] * 36
    bag = after(*wet, kind=BinKind.FLOW_THROUGH_BAG)
    open_cloth = bag.guesses.through_m_h > 1.0
    assert float(bag.film[open_cloth].mean()) < float(bag.film[~open_cloth].mean()) - 5.0
    assert bag.quantiles(0.5)[0] < after(*wet, kind=BinKind.TRAY_STACK).quantiles(0.5)[0]


def test_under_a_warm_lid_the_stiller_air_is_the_slower_it_dries() -> None:
    cloud = after(hour(1.0, looks=(LidLook.DRIPPING,)), *[hour(-2.0)] * 6)
    assert float(np.corrcoef(cloud.guesses.still_share, cloud.film)[0, 1]) < -0.5


def test_what_is_seen_weighs_the_guesses_for_the_days_after() -> None:
    day = [hour(1.0)] * 24
    unseen = after(*day, *day, *day)
    dry = after(*day, hour(1.0, looks=(LidLook.DRY,)), *day, hour(1.0, looks=(LidLook.DRY,)), *day)
    assert dry.chance(LIMIT_G_M2) < 0.3 * unseen.chance(LIMIT_G_M2)
    dripping = after(*day, hour(1.0, looks=(LidLook.DRIPPING,)))
    assert dripping.quantiles(0.1)[0] > 200.0


def test_a_measured_lid_is_believed_to_a_fraction_of_a_kelvin() -> None:
    warm = after(*[hour(4.0, lid_c=21.9)] * 24)
    cold = after(*[hour(4.0, lid_c=18.5)] * 24)
    assert warm.quantiles(0.9)[0] < LIMIT_G_M2
    assert cold.quantiles(0.1)[0] > LIMIT_G_M2


def test_without_shed_air_bed_and_headspace_tell_less_surely() -> None:
    known = [hour(3.0, 97.0)] * 24
    unknown = [LidHour(21.0, 19.8, 97.0, nan, nan, nan)] * 24
    seen, guessed = after(*known), after(*unknown)
    assert guessed.blind
    assert guessed.chance(LIMIT_G_M2) > 0.4
    widths = [one.quantiles(0.9)[0] - one.quantiles(0.1)[0] for one in (seen, guessed)]
    assert widths[1] > widths[0]


def test_an_hour_without_temperatures_holds_the_film() -> None:
    cloud = after(*[hour(2.0)] * 10)
    film = cloud.film.copy()
    cloud.step(LidHour(nan, nan, nan, nan, nan, nan))
    assert cloud.film.tolist() == film.tolist()
    assert math.isnan(cloud.mean_flux())


def bin_curve(hour_: float) -> dict[str, float]:
    wave = math.sin(2 * math.pi * hour_ / 24)
    return {
        "bed_temp_c": 20.0 + 0.5 * wave,
        "headspace_temp_c": 19.4 + wave,
        "headspace_rh_pct": 95.0 - 2.0 * wave,
    }


def air_curve(hour_: float) -> dict[str, float]:
    return {"shed_temp_c": 18.5 + 2.0 * math.sin(2 * math.pi * (hour_ - 2.0) / 24)}


def test_a_judge_that_starts_late_knows_the_same_to_the_last_digit() -> None:
    made = readings(bin_curve, air_curve, 100, 10)
    looks = [entry(50, Sighting(lid=LidLook.MIST)), entry(99.8, Sighting(lid=LidLook.DROPS), 2)]
    always = Judge(setup(), START_MS)
    always.set_entries("tansy", looks)
    for _ in run(always, made, 100.5):
        pass
    late = Judge(setup(), START_MS)
    late.set_entries("tansy", looks)
    late.add_readings(made)
    late.judge(START_MS + round(100.5 * HOUR_MS))
    shuffled = Judge(setup(), START_MS)
    shuffled.set_entries("tansy", looks[1:])
    order = np.random.default_rng(3).permutation(len(made))
    for part, at_h in ((order[::3], 60.0), (order[1::3], 90.0), (order[2::3], 100.2)):
        shuffled.add_readings([made[place] for place in part])
        shuffled.judge(START_MS + round(at_h * HOUR_MS))
    shuffled.set_entries("tansy", looks)
    shuffled.judge(START_MS + round(100.5 * HOUR_MS))
    films = [one._memories["tansy"].film for one in (always, late, shuffled)]
    for other in films[1:]:
        assert other.last(1200).tolist() == films[0].last(1200).tolist()
        assert other.chance(LIMIT_G_M2) == films[0].chance(LIMIT_G_M2)
        assert other.band() == films[0].band()
    ahead = [one.forecast("tansy") for one in (always, late, shuffled)]
    courses = [one.lid_film_g_m2 for one in ahead if one is not None]
    highs = [one.high.tolist() for one in courses if one is not None]
    assert len(highs) == 3
    assert highs[0] == highs[1] == highs[2]


def test_a_lid_that_a_probe_has_measured_goes_on_as_cold_as_it_was() -> None:
    """Measured 30 % of the way from the shed: far colder than lids of its kind, so it wets faster."""
    highs = []
    for factor in (0.3, 0.9):

        def measured(hour_: float, factor: float = factor) -> dict[str, float]:
            shed_c = air_curve(hour_)["shed_temp_c"] - 5.0
            values = bin_curve(hour_)
            return values | {"lid_temp_c": shed_c + factor * (values["headspace_temp_c"] - shed_c)}

        def cool(hour_: float) -> dict[str, float]:
            return {"shed_temp_c": air_curve(hour_)["shed_temp_c"] - 5.0}

        judge = Judge(setup(kind=BinKind.PLASTIC_TOTE), START_MS)
        judge.set_entries("tansy", [entry(75.9, Sighting(lid=LidLook.DRY))])
        judge.add_readings(readings(measured, cool, 76, 10))
        judge.judge(START_MS + 76 * HOUR_MS)
        ahead = judge.forecast("tansy")
        assert ahead is not None
        assert ahead.lid_film_g_m2 is not None
        highs.append(ahead.lid_film_g_m2.middle[11])
    assert highs[0] > 3.0 * highs[1] + 20.0


def test_who_takes_a_lid_probe_to_be_too_high_foresees_the_colder_lid() -> None:
    def measured(hour_: float) -> dict[str, float]:
        return bin_curve(hour_) | {"lid_temp_c": air_curve(hour_)["shed_temp_c"] + 0.5}

    judge = Judge(setup(kind=BinKind.PLASTIC_TOTE), START_MS)
    judge.add_readings(readings(measured, air_curve, 76, 10))
    judge.judge(START_MS + 76 * HOUR_MS)
    cloud = judge._memories["tansy"].film.at_hour
    assert cloud is not None
    factors = _factors(judge._window("tansy", START_MS + 76 * HOUR_MS), cloud)
    assert float(np.corrcoef(cloud.guesses.lid_z, factors)[0, 1]) < -0.95
