"""Calibration lines: check values of the science page, and that arrays and floats agree."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.errors import UnderlidError
from underlid.readings.calibration import (
    SALT_RH_PCT,
    Line,
    clip_humidity_pct,
    one_point,
    sample_moisture_pct,
    soil_index,
    two_point,
)


def test_two_salts() -> None:
    # Science page section 7: computed; the salts' values are Greenspan's to two decimals.
    line = two_point((36.1, 73.0), (32.78, 75.29))
    assert line.gain == pytest.approx(1.15203, abs=1e-5)
    assert line.offset == pytest.approx(-8.808, abs=1e-3)
    assert line.apply(90.0) == pytest.approx(94.87, abs=0.005)
    assert SALT_RH_PCT["MgCl2"] == pytest.approx(32.78, abs=0.05)
    assert SALT_RH_PCT["NaCl"] == pytest.approx(75.29, abs=0.05)


def test_points_that_make_no_line_are_refused() -> None:
    for raw, true in (((50.0, 50.0), (33.0, 75.0)), ((73.0, 36.1), (32.8, 75.3))):
        with pytest.raises(UnderlidError):
            two_point(raw, true)
    with pytest.raises(UnderlidError):
        soil_index(1843.0, 1150.0, 1150.0)


def test_an_ice_point_is_an_offset() -> None:
    assert one_point(0.4, 0.0).apply(22.4) == pytest.approx(22.0)


def test_humidity_is_clipped_only_for_showing() -> None:
    assert clip_humidity_pct(np.array([-1.0, 50.0, 103.0])).tolist() == [0.0, 50.0, 100.0]


def test_soil_index() -> None:
    # Science page section 5: anchors 2750 and 1150.
    assert soil_index(1950.0, 2750.0, 1150.0) == pytest.approx(0.5)
    assert soil_index(np.array([2900.0]), 2750.0, 1150.0)[0] == pytest.approx(-0.094, abs=5e-4)


def test_moisture_of_a_weighed_sample() -> None:
    assert sample_moisture_pct(10.0, 2.3) == 77.0
    with pytest.raises(UnderlidError):
        sample_moisture_pct(2.3, 10.0)


@given(st.floats(0.3, 4.0), st.floats(-20.0, 20.0), st.lists(st.floats(-50.0, 150.0), min_size=1))
def test_a_mean_calibrated_is_the_calibrated_values_mean(
    gain: float, offset: float, raw: list[float]
) -> None:
    """A line may be applied after averaging: that is why roll-ups stay true."""
    line = Line(gain, offset)
    array = np.array(raw)
    assert line.apply(float(array.mean())) == pytest.approx(float(line.apply(array).mean()))
