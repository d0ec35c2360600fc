"""The film of water on a lid is a balance: never below zero, never above its most, nothing lost."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.science.condensation import film_g_m2

FLUXES = st.lists(st.floats(-60.0, 60.0) | st.just(float("nan")), max_size=60)
STEPS_H = st.floats(1.0 / 60.0, 6.0)
MOST_G_M2 = st.floats(20.0, 400.0)


def walked(
    fluxes: list[float], step_h: float, most: float, start: float
) -> tuple[list[float], float]:
    """Return film and dripped water, one step after the other: the definition."""
    film, dripped, held = [], 0.0, start
    for flux in fluxes:
        held = max(0.0, held + (0.0 if np.isnan(flux) else flux * step_h))
        dripped += max(0.0, held - most)
        held = min(held, most)
        film.append(held)
    return film, dripped


@given(FLUXES, STEPS_H, MOST_G_M2, st.floats(0.0, 1.0))
def test_the_film_is_the_one_walked_through_step_by_step(
    fluxes: list[float], step_h: float, most: float, filled: float
) -> None:
    film, dripped = film_g_m2(np.array(fluxes), step_h, most, filled * most)
    expected, expected_dripped = walked(fluxes, step_h, most, filled * most)
    assert film.tolist() == pytest.approx(expected, abs=1e-8)
    assert dripped == pytest.approx(expected_dripped, abs=1e-8)


@given(FLUXES, STEPS_H, MOST_G_M2, st.floats(0.0, 1.0))
def test_water_is_conserved(fluxes: list[float], step_h: float, most: float, filled: float) -> None:
    start = filled * most
    film, dripped = film_g_m2(np.array(fluxes), step_h, most, start)
    assert (film >= 0.0).all()
    assert (film <= most + 1e-9).all()
    flux = np.nan_to_num(np.array(fluxes))
    condensed = float(flux[flux > 0.0].sum()) * step_h
    could_dry = float(-flux[flux < 0.0].sum()) * step_h
    end = float(film[-1]) if len(film) else start
    dried = start + condensed - end - dripped
    assert -1e-6 <= dried <= could_dry + 1e-6


def test_a_steady_flux_fills_the_lid_and_the_rest_drips() -> None:
    film, dripped = film_g_m2(np.full(10, 30.0), 1.0, 250.0)
    assert film[:3].tolist() == [30.0, 60.0, 90.0]
    assert film[-1] == 250.0
    assert dripped == 50.0


def test_the_step_does_not_change_the_balance() -> None:
    coarse = film_g_m2(np.array([12.0, -4.0, 30.0]), 1.0, 250.0)[0]
    fine = film_g_m2(np.repeat([12.0, -4.0, 30.0], 12), 1.0 / 12.0, 250.0)[0]
    assert fine[11::12].tolist() == pytest.approx(coarse.tolist())


def test_no_steps_leave_no_film() -> None:
    film, dripped = film_g_m2(np.array([]), 1.0, 250.0, 40.0)
    assert (len(film), dripped) == (0, 0.0)
