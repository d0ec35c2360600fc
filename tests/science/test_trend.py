"""Trends against scipy and pymannkendall, a CUSUM against a textbook's table, and their symmetries."""

from __future__ import annotations

import numpy as np
import pymannkendall
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import theilslopes

from underlid.science.trend import cusum, mann_kendall, theil_sen

RISING = np.array([20.0, 20.1, 20.3, 20.2, 20.6, 20.7, 20.5, 20.9, 21.0, 35.0])
"""A slow rise with one wild value at the end."""

SERIES = st.integers(3, 25).flatmap(
    lambda n: arrays(
        np.float64, n, elements=st.integers(-1000, 1000).map(lambda tenths: tenths / 8)
    )
)


def test_the_check_series() -> None:
    # computed with scipy 1 and pymannkendall 1: slope 0.13333, S 39, z 3.3988
    slope = theil_sen(np.arange(10.0), RISING)
    assert slope.slope == pytest.approx(0.13333, abs=1e-5)
    s, z = mann_kendall(RISING)
    assert s == 39
    assert z == pytest.approx(3.3988, abs=1e-4)


@given(SERIES)
def test_the_slope_is_that_of_scipy(y: np.ndarray) -> None:
    x = np.arange(len(y), dtype=np.float64)
    ours, theirs = theil_sen(x, y), theilslopes(y, x, alpha=0.8)  # computed with scipy
    assert ours.slope == pytest.approx(theirs.slope, abs=1e-9)
    # scipy rounds to the nearest pair, ours outwards: never a narrower band
    assert ours.low <= theirs.low_slope + 1e-9
    assert ours.high >= theirs.high_slope - 1e-9
    assert ours.low <= ours.slope <= ours.high


@given(SERIES)
def test_the_test_is_that_of_pymannkendall(y: np.ndarray) -> None:
    theirs = pymannkendall.original_test(y)  # computed with pymannkendall
    s, z = mann_kendall(y)
    assert s == theirs.s
    assert z == pytest.approx(theirs.z, abs=1e-9)


@given(SERIES, st.integers(-20, 20), st.integers(-20, 20), st.sampled_from([0.25, 0.5, 2.0, 4.0]))
def test_theil_sen_is_equivariant(y: np.ndarray, tilt: int, shift: int, scale: float) -> None:
    x = np.arange(len(y), dtype=np.float64)
    plain = theil_sen(x, y)
    tilted = theil_sen(x, y * scale + tilt * x + shift)
    assert tilted.slope == pytest.approx(scale * plain.slope + tilt, abs=1e-9)
    assert tilted.intercept == pytest.approx(scale * plain.intercept + shift, abs=1e-8)


@given(SERIES)
def test_theil_sen_turned_upside_down_is_its_mirror(y: np.ndarray) -> None:
    x = np.arange(len(y), dtype=np.float64)
    plain, turned = theil_sen(x, y), theil_sen(x, -y)
    assert (turned.low, turned.high) == pytest.approx((-plain.high, -plain.low), abs=1e-9)
    assert turned.slope == pytest.approx(-plain.slope, abs=1e-9)


@given(SERIES)
def test_mann_kendall_is_antisymmetric_and_blind_to_the_scale(y: np.ndarray) -> None:
    s, z = mann_kendall(y)
    turned_s, turned_z = mann_kendall(-y)
    assert turned_s == -s
    assert turned_z == pytest.approx(-z)
    assert mann_kendall(y[::-1])[0] == -s
    scaled_s, scaled_z = mann_kendall(4.0 * y + 7.0)
    assert scaled_s == s
    assert scaled_z == pytest.approx(z)


def test_one_wild_value_does_not_turn_a_slope() -> None:
    tame = RISING.copy()
    tame[-1] = 21.2
    difference = theil_sen(np.arange(10.0), RISING).slope - theil_sen(np.arange(10.0), tame).slope
    assert abs(difference) < 0.01


def test_two_points_and_a_level_line() -> None:
    two = theil_sen(np.array([0.0, 4.0]), np.array([1.0, 3.0]))
    assert (two.slope, two.low, two.high, two.intercept) == (0.5, 0.5, 0.5, 1.0)
    level = theil_sen(np.arange(6.0), np.full(6, 3.0))
    assert (level.slope, level.low, level.high, level.intercept) == (0.0, 0.0, 0.0, 3.0)
    assert mann_kendall(np.full(6, 3.0)) == (0, 0.0)


def test_times_that_are_equal_give_no_slope_of_their_own() -> None:
    doubled = theil_sen(np.array([0.0, 0.0, 1.0, 2.0]), np.array([1.0, 9.0, 2.0, 3.0]))
    assert np.isfinite(doubled.slope)


def test_cusum_gives_the_table_of_the_textbook() -> None:
    # read in Montgomery and Runger, table 16-8: μ0 99, K 1, H 10
    x = [102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1,
         101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0]  # fmt: skip
    high, low = cusum(np.array(x), 99.0, 1.0)
    assert high.tolist() == [2.0, 0, 0, 0, 2.0, 0.5, 0, 0, 0, 0,
                             1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0]  # fmt: skip
    assert low.tolist() == [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0,
                            0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0]  # fmt: skip
    assert max(high.max(), low.max()) < 10.0


@given(SERIES)
def test_cusum_turned_upside_down_swaps_its_sides(y: np.ndarray) -> None:
    high, low = cusum(y, 5.0, 0.5)
    assert [part.tolist() for part in cusum(-y, -5.0, 0.5)] == [low.tolist(), high.tolist()]
