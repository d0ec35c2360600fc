"""Raw values to physical ones: the place's calibrations, soil points, the prior without any."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from underlid.binmodel.bins import Calibration, ProbePlace
from underlid.binmodel.probes.calibrated import (
    calibrate,
    index_curve,
    moisture_sd_pct,
)

TIMES = np.array([100, 200, 300], dtype=np.int64)


def place(**changes: object) -> ProbePlace:
    return ProbePlace("p", "s", "b", **changes)  # type: ignore[arg-type]


def test_without_calibrations_values_pass_and_strange_channels_too() -> None:
    raw = {"bed_temp_c": np.array([20.0, 21.0, np.nan]), "co2_ppm": np.array([400.0, 500, 600])}
    out = calibrate(place(), TIMES, raw)
    assert set(out) == set(raw)
    np.testing.assert_array_equal(out["bed_temp_c"], raw["bed_temp_c"])


def test_a_calibration_holds_for_its_span_of_time_only() -> None:
    spans = (
        Calibration("bed_temp_c", 1.0, -1.0, 0, 200),
        Calibration("bed_temp_c", 1.0, 2.0, 300, None),
    )
    out = calibrate(place(calibrations=spans), TIMES, {"bed_temp_c": np.full(3, 20.0)})
    assert out["bed_temp_c"].tolist() == [19.0, 20.0, 22.0]


def test_the_raw_values_are_left_alone() -> None:
    raw = np.full(3, 20.0)
    calibrate(
        place(calibrations=(Calibration("bed_temp_c", 2.0, 0.0),)), TIMES, {"bed_temp_c": raw}
    )
    assert raw.tolist() == [20.0] * 3


def test_soil_counts_become_index_and_moisture() -> None:
    soil = place(soil_dry_raw=2750, soil_wet_raw=1150, soil_points=((0.40, 62.0), (0.62, 78.0)))
    out = calibrate(soil, TIMES, {"soil_raw": np.array([1950.0, 2900.0, np.nan])})
    # science page section 5, computed: 1950 → 0.5, 2900 → −0.094
    np.testing.assert_allclose(out["soil_index"][:2], [0.5, -0.09375])
    assert out["moisture_pct"][0] == pytest.approx(69.62, abs=0.05)
    assert np.isnan(out["moisture_pct"][2])


def test_a_probe_that_says_moisture_itself_is_believed_over_its_soil_channel() -> None:
    values = {"moisture_pct": np.full(3, 71.0), "soil_index": np.full(3, 0.5)}
    assert calibrate(place(), TIMES, values)["moisture_pct"].tolist() == [71.0] * 3


def test_soil_counts_without_dry_and_wet_say_nothing_of_moisture() -> None:
    assert set(calibrate(place(), TIMES, {"soil_raw": np.full(3, 1900.0)})) == {"soil_raw"}
    same = place(soil_dry_raw=2000, soil_wet_raw=2000)
    assert set(calibrate(same, TIMES, {"soil_raw": np.full(3, 1900.0)})) == {"soil_raw"}


def test_weighed_samples_that_contradict_each_other_give_no_moisture() -> None:
    upside_down = place(soil_points=((0.4, 78.0), (0.6, 62.0)))
    assert index_curve(upside_down) is None
    assert "moisture_pct" not in calibrate(upside_down, TIMES, {"soil_index": np.full(3, 0.5)})


def test_fewer_weighed_samples_are_less_sure() -> None:
    none, one, two = (
        moisture_sd_pct(place(soil_points=points), {"soil_raw": 0}, 70.0)
        for points in ((), ((0.5, 70.0),), ((0.4, 62.0), (0.62, 78.0)))
    )
    assert none is not None
    assert one is not None
    assert two is not None
    assert 2.0 < two < one < none < 9.0


def test_a_probe_that_says_moisture_itself_needs_no_samples() -> None:
    assert moisture_sd_pct(place(), {"moisture_pct": 0}, 70.0) == 3.0
    assert moisture_sd_pct(place(), {"bed_temp_c": 0}, 70.0) is None


def test_a_line_given_later_equals_one_given_before_the_readings_came() -> None:
    raw = {"soil_raw": np.array([1950.0, 2000.0, 1800.0])}
    anchors = {"soil_dry_raw": 2750.0, "soil_wet_raw": 1150.0}
    points = ((0.40, 62.0), (0.62, 78.0))
    before = calibrate(place(**anchors, soil_points=points), TIMES, raw)["moisture_pct"]
    later = replace(place(**anchors), soil_points=points)
    assert calibrate(later, TIMES, raw)["moisture_pct"].tolist() == before.tolist()


def test_one_weighed_sample_fixes_the_level_of_the_prior_line() -> None:
    curve = index_curve(place(soil_points=((0.5, 71.0),)))
    assert curve is not None
    assert curve.apply(0.5) == pytest.approx(71.0, abs=0.3)
