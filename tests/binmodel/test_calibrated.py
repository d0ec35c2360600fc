"""Raw values to physical ones: the place's calibrations, soil points, the prior without any."""

from __future__ import annotations

import numpy as np
import pytest

from underlid.binmodel.bins import Calibration, ProbePlace
from underlid.binmodel.calibrated import (
    MOISTURE_SD_PCT,
    MoistureGrade,
    calibrate,
    index_line,
    moisture_grade,
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
    assert out["moisture_pct"][0] == pytest.approx(69.27, abs=0.01)
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
    assert index_line(upside_down) is None
    assert "moisture_pct" not in calibrate(upside_down, TIMES, {"soil_index": np.full(3, 0.5)})


@pytest.mark.parametrize(
    ("points", "channel", "grade"),
    [
        ((), "soil_raw", MoistureGrade.PRIOR),
        (((0.5, 70.0),), "soil_raw", MoistureGrade.ONE_POINT),
        (((0.4, 62.0), (0.62, 78.0)), "soil_raw", MoistureGrade.WEIGHED),
        ((), "moisture_pct", MoistureGrade.PROBE),
    ],
)
def test_what_moisture_rests_on_is_said(
    points: tuple[tuple[float, float], ...], channel: str, grade: MoistureGrade
) -> None:
    assert moisture_grade(place(soil_points=points), {channel: 0}) is grade


def test_fewer_weighed_samples_are_less_sure() -> None:
    grades = (MoistureGrade.WEIGHED, MoistureGrade.ONE_POINT, MoistureGrade.PRIOR)
    sds = [MOISTURE_SD_PCT[grade] for grade in grades]
    assert sds == sorted(sds)


def test_one_weighed_sample_fixes_the_level_of_the_prior_line() -> None:
    line = index_line(place(soil_points=((0.5, 71.0),)))
    assert line is not None
    assert line.apply(0.5) == pytest.approx(71.0)
