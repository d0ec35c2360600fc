"""The advised water brings the bed to its target, in mistings that soak in."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.advice.water import LEAST_ML, MISTING_ML_PER_KG, water_dose
from underlid.journal.units import US


@given(st.floats(3.0, 400.0), st.floats(20.0, 90.0), st.floats(65.0, 85.0))
def test_bed_and_water_meet_the_target(
    bed_kg: float, moisture_pct: float, target_pct: float
) -> None:
    found = water_dose(bed_kg, moisture_pct, target_pct)
    added_kg = (found[0].amount_ml or 0.0) / 1000.0 if found else 0.0
    reached = 100.0 * (bed_kg * moisture_pct / 100.0 + added_kg) / (bed_kg + added_kg)
    if moisture_pct < target_pct:
        assert reached == pytest.approx(target_pct, abs=0.5)
    else:
        assert found == ()


def test_a_dose_is_split_so_that_it_soaks_in() -> None:
    # computed by hand: 22 kg from 70 to 75 % lack 4.4 L; 25 mL per kg and day is our judgement
    (advice,) = water_dose(22.0, 70.0, 75.0)
    assert advice.amount_ml == 4400.0
    assert "550 mL a day for 8 days" in advice.text
    assert MISTING_ML_PER_KG * 22.0 >= 4400.0 / 8
    for part in ("(G − M)/(1 − G)", "22.0 kg", "70.0 %", "75 %", "4400 mL", "our judgement"):
        assert part in advice.working


def test_a_small_dose_is_given_at_once_and_a_tiny_one_not_at_all() -> None:
    (advice,) = water_dose(22.0, 74.5, 75.0)
    assert advice.amount_ml == 450.0
    assert "a day" not in advice.text
    assert water_dose(22.0, 74.99, 75.0) == ()
    assert LEAST_ML <= 50.0


def test_the_sentence_speaks_the_keepers_units() -> None:
    (metric,) = water_dose(22.0, 70.0, 75.0)
    (american,) = water_dose(22.0, 70.0, 75.0, US)
    assert metric.amount_ml == american.amount_ml
    assert "gal" in american.text or "cup" in american.text
