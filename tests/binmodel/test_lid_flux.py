"""The condensing flux weighed from the humidity sensor and from what a closed bin can give."""

from __future__ import annotations

import numpy as np
import pytest

from underlid.binmodel.lid_flux import believed_flux_g_m2_h
from underlid.science.condensation import flux_g_m2_h


def believed(
    head_c: float, rh_pct: float, lid_c: float, bed_c: float, factor_sd: float = 0.1
) -> float:
    one = [np.array([value]) for value in (head_c, rh_pct, lid_c, bed_c)]
    return float(believed_flux_g_m2_h(*one, np.array([2.0]), factor_sd)[0])


def by_sensor(head_c: float, rh_pct: float, lid_c: float) -> float:
    return float(flux_g_m2_h(np.array([head_c]), np.array([rh_pct]), np.array([lid_c]))[0])


@pytest.mark.parametrize("rh_pct", [96.0, 98.0, 99.0])
def test_a_percent_of_humidity_moves_it_less_than_the_sensor_alone(rh_pct: float) -> None:
    sensor = by_sensor(22.0, rh_pct, 21.4) - by_sensor(22.0, rh_pct - 1.0, 21.4)
    both = believed(22.0, rh_pct, 21.4, 23.0) - believed(22.0, rh_pct - 1.0, 21.4, 23.0)
    assert 0.0 < both < 0.6 * sensor


def test_a_closed_bin_condenses_two_to_three_and_a_half_grams_for_a_kelvin() -> None:
    # science page, section 2: about 2–3.4 g/m²h per kelvin of bed over shed (computed there)
    for over_k in (2.0, 4.0, 8.0):
        head, lid = 20.0 + 0.5 * over_k, 20.0 + 0.35 * over_k
        flux = believed(head, 98.5, lid, 20.0 + over_k)
        assert 1.0 <= flux / over_k <= 3.4, over_k


def test_an_open_bin_is_told_by_its_sensor() -> None:
    assert believed(21.0, 70.0, 20.5, 23.0) == pytest.approx(by_sensor(21.0, 70.0, 20.5))


def test_without_a_bed_temperature_the_sensor_speaks_alone() -> None:
    assert believed(22.0, 97.0, 21.0, np.nan) == by_sensor(22.0, 97.0, 21.0)


def test_a_wet_lid_over_a_cool_bed_dries_slowly() -> None:
    # at noon the shed is warmer than the bed: the vapour can only go back to the bed
    assert by_sensor(22.0, 96.0, 22.5) < 1.5 * believed(22.0, 96.0, 22.5, 21.5) < 0.0


def test_unknown_stays_unknown() -> None:
    assert np.isnan(believed(22.0, np.nan, 21.0, 23.0))
