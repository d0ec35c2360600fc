"""Water in a bed: wet basis and volumetric, pores, samples, what is missing, soil index."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.readings.calibration import soil_index
from underlid.science import moisture

MOISTURES_PCT = st.floats(0.0, 95.0)
DENSITIES_KG_L = st.floats(0.05, 0.6)


@pytest.mark.parametrize(
    ("moisture_pct", "water"),
    [(60.0, 0.225), (70.0, 0.35), (75.0, 0.45), (80.0, 0.60), (85.0, 0.85)],  # computed by hand
)
def test_volumetric_water_of_a_loose_bed(moisture_pct: float, water: float) -> None:
    assert moisture.volumetric_water(moisture_pct, 0.15) == pytest.approx(water)
    assert moisture.moisture_pct_from_volumetric(water, 0.15) == pytest.approx(moisture_pct)


@given(MOISTURES_PCT, DENSITIES_KG_L)
def test_volumetric_and_back(moisture_pct: float, density: float) -> None:
    water = moisture.volumetric_water(moisture_pct, density)
    assert moisture.moisture_pct_from_volumetric(water, density) == pytest.approx(moisture_pct)


def test_the_wet_limit_depends_on_density() -> None:
    # computed with 1 − ρ/1.55 − θ; 0.30 for turning sour is common practice
    assert moisture.air_filled_porosity(75.0, 0.15) == pytest.approx(0.453, abs=5e-4)
    assert moisture.air_filled_porosity(80.0, 0.15) > moisture.SOUR_BELOW
    assert moisture.air_filled_porosity(80.0, 0.20) < moisture.SOUR_BELOW


@given(MOISTURES_PCT, DENSITIES_KG_L)
def test_solids_water_and_air_fill_the_bed(moisture_pct: float, density: float) -> None:
    air = moisture.air_filled_porosity(moisture_pct, density)
    solids = density / moisture.SOLID_DENSITY_KG_L
    assert air + solids + moisture.volumetric_water(moisture_pct, density) == pytest.approx(1.0)


def test_a_weighed_sample() -> None:
    # read in the Cornell composting pages: 10 g dry to 2.3 g, so 77 %
    assert moisture.sample_moisture_pct(10.0, 2.3) == pytest.approx(77.0)


def test_a_soil_index_from_its_anchors() -> None:
    # computed by hand: anchors 2750 in air and 1150 in water; drier than air is shown as it is
    assert soil_index(1950.0, 2750.0, 1150.0) == pytest.approx(0.5)
    assert soil_index(2900.0, 2750.0, 1150.0) == pytest.approx(-0.094, abs=5e-4)


def test_a_bed_dries_by_tenths_of_a_point_a_day() -> None:
    # computed by hand: 25 kg at 75 % losing 0.1 kg a day is at 74.3 % after a week
    water_kg, dry_kg = 25.0 * 0.75 - 7 * 0.1, 25.0 * 0.25
    assert moisture.sample_moisture_pct(water_kg + dry_kg, dry_kg) == pytest.approx(74.3, abs=0.05)


@given(st.floats(0.5, 500.0), MOISTURES_PCT, st.floats(40.0, 90.0))
def test_the_water_added_brings_the_bed_to_its_target(
    bed_kg: float, moisture_pct: float, target_pct: float
) -> None:
    added_kg = moisture.water_to_add_g(bed_kg, moisture_pct, target_pct) / 1000.0
    if moisture_pct >= target_pct:
        assert added_kg == 0.0
        return
    water_kg = bed_kg * moisture_pct / 100.0 + added_kg
    assert 100.0 * water_kg / (bed_kg + added_kg) == pytest.approx(target_pct)


@pytest.mark.parametrize(
    ("permittivity", "water"),
    [
        (10.0, 0.1883),
        (20.0, 0.3454),
        (30.0, 0.4441),
        (40.0, 0.5102),
    ],  # computed with Topp 1980, whose coefficients are second-hand
)
def test_topp_for_mineral_soil(permittivity: float, water: float) -> None:
    assert moisture.topp_volumetric_water(permittivity) == pytest.approx(water, abs=1e-4)
