"""Pounds, cups and °F come in exactly and go out readably."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.errors import UnderlidError
from underlid.journal.units import (
    GRAMS,
    MILLILITRES,
    SI,
    US,
    MassUnit,
    TempUnit,
    Units,
    celsius,
    fahrenheit,
    grams,
    mass_text,
    millilitres,
    temp_step_text,
    temp_text,
    volume_text,
)


@pytest.mark.parametrize(
    ("value", "unit", "mass_g"),
    [(1, "lb", 453.59237), (16, "oz", 453.59237), (1, "LB", 453.59237), (2.5, "kg", 2500)],
)
def test_masses_come_in_as_grams(value: float, unit: str, mass_g: float) -> None:
    # 1 lb = 0.45359237 kg, 1 oz = 1/16 lb: exact by the international yard and pound agreement.
    assert grams(value, unit) == pytest.approx(mass_g, rel=1e-12)


def test_volumes_come_in_as_millilitres() -> None:
    # US gallon = 231 cubic inches of 2.54 cm, 16 cups: exact by definition.
    assert millilitres(1, "gal") == pytest.approx(231 * 2.54**3, rel=1e-12)
    assert millilitres(16, "cup") == pytest.approx(millilitres(1, "gal"), rel=1e-12)


@given(st.floats(min_value=-100, max_value=200))
def test_temperatures_survive_the_way_out_and_back(temp_c: float) -> None:
    assert celsius(fahrenheit(temp_c), "f") == pytest.approx(temp_c, abs=1e-9)


@pytest.mark.parametrize("unit", ["stone", "", "k"])
def test_unknown_units_are_refused(unit: str) -> None:
    for convert in (grams, millilitres, celsius):
        with pytest.raises(UnderlidError, match="unit"):
            convert(1.0, unit)


@pytest.mark.parametrize(
    ("mass_g", "metric", "pounds"),
    [
        (3.25, "3.2 g", "0.1 oz"),
        (457.2, "457 g", "1.01 lb"),
        (999.6, "1 kg", "2.2 lb"),
        (1850, "1.85 kg", "4.08 lb"),
        (22_000, "22 kg", "48.5 lb"),
        (140_400, "140 kg", "310 lb"),
        (0, "0 g", "0 oz"),
    ],
)
def test_masses_are_shown_with_about_three_figures(mass_g: float, metric: str, pounds: str) -> None:
    assert (mass_text(mass_g), mass_text(mass_g, US)) == (metric, pounds)


def test_each_quantity_follows_its_own_preference() -> None:
    mixed = Units(MassUnit.POUNDS, TempUnit.CELSIUS)
    assert mass_text(454, mixed) == "1 lb"
    assert temp_text(25, mixed) == "25.0 °C"
    assert volume_text(350, mixed) == "350 mL"


def test_volumes_are_shown_in_the_keepers_unit() -> None:
    assert [volume_text(ml) for ml in (350, 999.7, 1500)] == ["350 mL", "1 L", "1.5 L"]
    assert [volume_text(ml, US) for ml in (236.6, 350, 7571)] == ["1 cup", "1.5 cups", "2 gal"]


def test_differences_of_temperature_are_not_shifted() -> None:
    assert temp_step_text(-2.5, US) == "−4.5 °F"
    assert temp_step_text(-0.01, SI) == "0.0 °C"


@given(st.floats(min_value=0.5, max_value=1e6), st.sampled_from([SI, US]))
def test_a_shown_mass_is_within_one_part_in_ten(mass_g: float, units: Units) -> None:
    number, unit = mass_text(mass_g, units).split()
    assert grams(float(number), unit) == pytest.approx(mass_g, rel=0.1, abs=2)


@given(st.floats(min_value=1, max_value=1e6), st.sampled_from([SI, US]))
def test_a_shown_volume_is_within_one_part_in_ten(volume_ml: float, units: Units) -> None:
    number, unit = volume_text(volume_ml, units).lower().rstrip("s").split()
    assert unit in MILLILITRES
    assert millilitres(float(number), unit) == pytest.approx(volume_ml, rel=0.1, abs=12)


def test_the_tables_name_the_units_of_the_fields() -> None:
    assert list(GRAMS) == ["g", "kg", "lb", "oz"]


@given(st.floats(min_value=1e-3, max_value=1e6), st.sampled_from(["g", "kg", "lb", "oz"]))
def test_masses_survive_the_way_in_and_back(value: float, unit: str) -> None:
    assert grams(value, unit) / grams(1.0, unit) == pytest.approx(value, rel=1e-12)
    assert grams(value, "lb") == pytest.approx(grams(16.0 * value, "oz"), rel=1e-12)
