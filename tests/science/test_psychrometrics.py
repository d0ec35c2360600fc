"""Moist air against handbook tables, psychrolib and CoolProp; the source stands beside each value.

Measured weather is in `test_weather.py`.
"""

from __future__ import annotations

import CoolProp.CoolProp as coolprop
import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.science import psychrometrics as air

psychrolib.SetUnitSystem(psychrolib.SI)

TEMPS_C = st.floats(-40.0, 50.0)
HUMIDITIES_PCT = st.floats(1.0, 100.0)


@pytest.mark.parametrize(
    ("temp_c", "pressure_pa"),
    [(5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3)],  # read in ASHRAE Fundamentals 2017, table 3
)
def test_saturation_is_that_of_the_handbook_table(temp_c: float, pressure_pa: float) -> None:
    assert air.saturation_vapour_pressure_pa(temp_c) == pytest.approx(pressure_pa, rel=3e-3)
    exact = air.saturation_vapour_pressure_hyland_wexler_pa(temp_c)
    assert exact == pytest.approx(pressure_pa, rel=3e-4)


def test_hyland_wexler_agrees_with_coolprop_and_psychrolib() -> None:
    for temp_c in np.linspace(0.1, 50.0, 100).tolist():  # computed with CoolProp (IAPWS-95)
        ours = air.saturation_vapour_pressure_hyland_wexler_pa(temp_c)
        water = coolprop.PropsSI("P", "T", temp_c + 273.15, "Q", 0, "Water")
        assert ours == pytest.approx(water, rel=3e-4)
        assert ours == pytest.approx(psychrolib.GetSatVapPres(temp_c), rel=2e-4)


def test_magnus_stays_within_its_claim_of_hyland_wexler_and_of_coolprop() -> None:
    temps_c = np.linspace(0.1, 50.0, 500)
    magnus = air.saturation_vapour_pressure_pa(temps_c)
    exact = air.saturation_vapour_pressure_hyland_wexler_pa(temps_c)
    off_pct = 100.0 * (magnus / exact - 1.0)  # computed with Hyland–Wexler as coded here
    assert -0.24 < off_pct.min() < off_pct.max() < 0.09
    water = [coolprop.PropsSI("P", "T", temp_c + 273.15, "Q", 0, "Water") for temp_c in temps_c]
    off_pct = 100.0 * (magnus / np.array(water) - 1.0)  # computed with CoolProp
    assert -0.26 <= off_pct.min() < off_pct.max() <= 0.071


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "dew_c"),
    [  # computed with psychrolib and CoolProp, which agree within 0.01 K
        (25.0, 60.0, 16.70),
        (20.0, 80.0, 16.45),
        (30.0, 85.0, 27.20),
        (22.0, 92.0, 20.64),
        (15.0, 95.0, 14.21),
        (28.0, 98.0, 27.65),
        (35.0, 95.0, 34.08),
        (20.0, 50.0, 9.27),
        (10.0, 90.0, 8.44),
    ],
)
def test_dew_points_are_those_of_two_libraries(temp_c: float, rh_pct: float, dew_c: float) -> None:
    ours = air.dew_point_c(temp_c, rh_pct)
    assert ours == pytest.approx(dew_c, abs=0.03)
    assert ours == pytest.approx(psychrolib.GetTDewPointFromRelHum(temp_c, rh_pct / 100), abs=0.03)
    kelvin = coolprop.HAPropsSI("Tdp", "T", temp_c + 273.15, "R", rh_pct / 100, "P", 101325)
    assert ours == pytest.approx(kelvin - 273.15, abs=0.03)


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "density_g_m3"),
    # 20/100 and 25/95: computed with e/(461.5 T) and Hyland–Wexler; 35/95: the same, rounded
    [(20.0, 100.0, 17.29), (25.0, 95.0, 21.88), (35.0, 95.0, 37.6)],
)
def test_absolute_humidity(temp_c: float, rh_pct: float, density_g_m3: float) -> None:
    ours = air.absolute_humidity_g_m3(temp_c, rh_pct)
    assert ours == pytest.approx(density_g_m3, rel=0.01)
    state = ("T", temp_c + 273.15, "R", rh_pct / 100, "P", 101325)
    per_kg = coolprop.HAPropsSI("W", *state) / coolprop.HAPropsSI("V", *state)
    assert ours == pytest.approx(1000.0 * per_kg, rel=0.01)  # computed with CoolProp, real gas


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "deficit_pa"),
    [(30.0, 40.0, 2547.6), (20.0, 80.0, 467.8)],  # computed with psychrolib (Hyland–Wexler)
)
def test_vapour_pressure_deficit(temp_c: float, rh_pct: float, deficit_pa: float) -> None:
    assert air.vapour_pressure_deficit_pa(temp_c, rh_pct) == pytest.approx(deficit_pa, rel=3e-3)
    library = psychrolib.GetSatVapPres(temp_c) * (1.0 - rh_pct / 100.0)
    assert library == pytest.approx(deficit_pa, abs=0.1)


def test_humidity_ratios_are_those_of_the_handbook() -> None:
    saturated = air.saturation_vapour_pressure_hyland_wexler_pa(25.0)
    # read in ASHRAE Fundamentals 2017, table 2, which has the enhancement factor: 0.5 %
    assert air.humidity_ratio(saturated, 101325.0) == pytest.approx(0.020173, rel=5e-3)
    # computed with psychrolib; the pressure of 500 m
    assert air.humidity_ratio(3169.7, 95461.0) == pytest.approx(0.0213604, abs=1e-7)
    library = psychrolib.GetHumRatioFromVapPres(3169.7, 95461.0)
    assert library == pytest.approx(0.0213604, abs=1e-7)


def test_the_handbooks_worked_example() -> None:
    # read in ASHRAE Fundamentals 2017, example 1: 40 °C dry bulb, 20 °C wet bulb, 101 325 Pa give
    # W 0.0065 and RH 14 %, read off a chart; psychrolib computes 0.0064
    ratio = psychrolib.GetHumRatioFromTWetBulb(40.0, 20.0, 101325.0)
    assert ratio == pytest.approx(0.0065, abs=1.5e-4)
    vapour_pa = air.vapour_pressure_pa(40.0, 14.0)
    assert air.humidity_ratio(vapour_pa, 101325.0) == pytest.approx(0.0065, abs=1.5e-4)
    dew_c = psychrolib.GetTDewPointFromHumRatio(40.0, ratio, 101325.0)
    assert air.dew_point_c(40.0, 14.0) == pytest.approx(dew_c, abs=0.3)


@pytest.mark.parametrize("temp_c", [20.0, 25.0])
def test_the_error_budget_near_saturation(temp_c: float) -> None:
    # computed with psychrolib: at 95 % the dew point lies 0.85 K below the air, and ±2 % is ±0.35 K
    library = psychrolib.GetTDewPointFromRelHum(temp_c, 0.95)
    assert temp_c - library == pytest.approx(0.85, abs=0.03)
    assert temp_c - air.dew_point_c(temp_c, 95.0) == pytest.approx(0.85, abs=0.03)
    assert air.dew_point_sd_k(temp_c, 95.0, 2.0, 0.0) == pytest.approx(0.35, abs=0.02)


@given(TEMPS_C, HUMIDITIES_PCT)
def test_at_its_dew_point_the_air_is_saturated(temp_c: float, rh_pct: float) -> None:
    dew_c = air.dew_point_c(temp_c, rh_pct)
    assert dew_c <= temp_c + 1e-9
    held_pa = air.vapour_pressure_pa(temp_c, rh_pct)
    assert air.saturation_vapour_pressure_pa(dew_c) == pytest.approx(held_pa, rel=1e-9)


@given(TEMPS_C, st.floats(5.0, 98.0))
def test_the_dew_point_sd_is_its_slope(temp_c: float, rh_pct: float) -> None:
    in_rh = air.dew_point_c(temp_c, rh_pct + 0.01) - air.dew_point_c(temp_c, rh_pct - 0.01)
    assert air.dew_point_sd_k(temp_c, rh_pct, 0.02, 0.0) == pytest.approx(in_rh, rel=1e-3)
    in_temp = air.dew_point_c(temp_c + 0.01, rh_pct) - air.dew_point_c(temp_c - 0.01, rh_pct)
    assert air.dew_point_sd_k(temp_c, rh_pct, 0.0, 0.02) == pytest.approx(in_temp, rel=1e-3)


@given(TEMPS_C, st.floats(-5.0, 0.1))
def test_a_dry_or_impossible_humidity_gives_a_finite_dew_point(
    temp_c: float, rh_pct: float
) -> None:
    assert np.isfinite(air.dew_point_c(temp_c, rh_pct))
    assert np.isfinite(air.dew_point_sd_k(temp_c, rh_pct, 2.0, 0.3))


def test_an_array_goes_in_and_an_array_comes_out() -> None:
    temps_c = np.array([10.0, 20.0])
    dew_c = air.dew_point_c(temps_c, np.array([90.0, 50.0]))
    assert dew_c.tolist() == [air.dew_point_c(10.0, 90.0), air.dew_point_c(20.0, 50.0)]
