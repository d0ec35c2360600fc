"""Weighed samples make a line of the usual one, and say how sure it is where."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.readings.moisture_line import (
    CENTRE_INDEX,
    GAIN_PCT,
    GAIN_SD_PCT,
    LEVEL_PCT,
    LEVEL_SD_PCT,
    SAMPLE_SD_PCT,
    MoistureFit,
    moisture_fit,
)

TWO = ((0.40, 62.0), (0.62, 78.0))
SAMPLES = st.tuples(st.floats(0.2, 0.9), st.floats(40.0, 95.0))


def fit_of(*points: tuple[float, float]) -> MoistureFit:
    fit = moisture_fit(points)
    assert fit is not None
    return fit


def test_two_samples_far_apart_make_the_line_through_them() -> None:
    curve = fit_of(*TWO).curve
    assert curve.apply(0.40) == pytest.approx(62.0, abs=0.2)
    assert curve.apply(0.62) == pytest.approx(78.0, abs=0.2)


def test_the_further_from_the_samples_the_less_sure() -> None:
    assert fit_of(*TWO).sd_pct(70.0) < fit_of(*TWO).sd_pct(85.0) < fit_of(*TWO).sd_pct(95.0)
    assert fit_of(*TWO).sd_pct(70.0) < fit_of(TWO[0]).sd_pct(70.0) < fit_of().sd_pct(70.0)


def test_samples_that_contradict_each_other_make_no_line() -> None:
    assert moisture_fit(((0.4, 78.0), (0.6, 62.0))) is None


def test_two_samples_of_nearly_the_same_bed_do_not() -> None:
    """Half a point the wrong way round is the scale's error, not a contradiction."""
    fit = fit_of((0.50, 75.0), (0.505, 74.4))
    assert fit.curve.apply(0.5025) == pytest.approx(74.7, abs=1.0)
    assert fit.gain_pct == pytest.approx(GAIN_PCT, rel=0.05)


@given(st.lists(SAMPLES, min_size=1, max_size=6), st.randoms())
def test_the_order_of_samples_says_nothing(
    points: list[tuple[float, float]], rng: random.Random
) -> None:
    other = points[:]
    rng.shuffle(other)
    one, two = moisture_fit(points), moisture_fit(other)
    assert (one is None) == (two is None)
    if one is not None and two is not None:
        assert one.level_pct == pytest.approx(two.level_pct)
        assert one.sd_pct(80.0) == pytest.approx(two.sd_pct(80.0))


@given(st.lists(SAMPLES, max_size=5), SAMPLES)
def test_a_further_sample_never_makes_the_line_less_sure(
    points: list[tuple[float, float]], more: tuple[float, float]
) -> None:
    before, after = moisture_fit(points), moisture_fit([*points, more])
    if before is not None and after is not None:
        assert after.level_variance <= before.level_variance + 1e-12
        assert after.gain_variance <= before.gain_variance + 1e-12


def test_the_line_holds_the_truth_as_often_as_it_says() -> None:
    """80 % bands over 400 probes drawn from what is assumed of them, none to three samples each."""
    rng = np.random.default_rng(7)
    held = 0
    for case in range(400):
        level, gain = rng.normal(LEVEL_PCT, LEVEL_SD_PCT), rng.normal(GAIN_PCT, GAIN_SD_PCT)
        indices = rng.uniform(0.35, 0.75, case % 4)
        points = [
            (float(at), float(level + gain * (at - CENTRE_INDEX) + rng.normal(0, SAMPLE_SD_PCT)))
            for at in indices
        ]
        at = rng.uniform(0.35, 0.75)
        fit = moisture_fit(points)
        if fit is None:
            continue
        said, true = fit.curve.apply(float(at)), level + gain * (at - CENTRE_INDEX)
        held += abs(said - true) <= 1.2816 * fit.line_sd_pct(said)
    assert 0.75 <= held / 400 <= 0.86
