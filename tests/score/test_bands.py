"""Bands against what came."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from underlid.score.bands import AT_NOTHING, STRICT, outcomes
from underlid.score.tables import BAND_HEADER, coverage_rows
from underlid.score.totals import Held
from underlid.timeline import HOUR_MS


@dataclass
class Course:
    low: list[float]
    high: list[float]

    @property
    def middle(self) -> list[float]:
        return self.low


def course(low: float, high: float) -> Course:
    return Course([low] * 72, [high] * 72)


def truth(**values: float) -> dict[int, dict[str, float]]:
    return {hour * HOUR_MS: dict(values) for hour in range(80)}


def test_each_lead_is_counted_inside_below_or_above() -> None:
    found = outcomes(0, {"bed_temp_c": course(20.0, 22.0)}, truth(bed_temp_c=22.05), [])
    assert found["bed_temp_c", 24, "inside"] == 1
    assert sum(found.values()) == 7
    assert found["bed_temp_c", 24, STRICT] == 0
    found = outcomes(0, {"bed_temp_c": course(20.0, 22.0)}, truth(bed_temp_c=21.95), [])
    assert found["bed_temp_c", 24, "inside"] == found["bed_temp_c", 24, STRICT] == 1
    found = outcomes(0, {"bed_temp_c": course(20.0, 22.0)}, truth(bed_temp_c=19.0), [])
    assert found["bed_temp_c", 72, "below"] == 1


def test_after_a_deed_only_the_weather_counts() -> None:
    courses = {"bed_temp_c": course(20.0, 22.0), "shed_temp_c": course(15.0, 16.0)}
    found = outcomes(0, courses, truth(bed_temp_c=21.0, shed_temp_c=18.0), [10 * HOUR_MS])
    assert found["bed_temp_c", 6, "inside"] == 1
    assert found["bed_temp_c", 12, "inside"] == 0
    assert found["shed_temp_c", 72, "above"] == 1


def test_a_dry_lid_that_was_foreseen_dry_does_not_count() -> None:
    assert not outcomes(0, {"lid_film_g_m2": course(0.0, 3.0)}, truth(lid_film_g_m2=1.0), [])
    assert outcomes(0, {"lid_film_g_m2": course(0.0, 30.0)}, truth(lid_film_g_m2=1.0), [])
    assert not outcomes(0, {"lid_film_g_m2": None}, truth(lid_film_g_m2=90.0), [])


def test_a_film_band_from_nothing_on_should_hold_nine_of_ten() -> None:
    found = outcomes(0, {"lid_film_g_m2": course(0.0, 30.0)}, truth(lid_film_g_m2=1.0), [])
    assert found["lid_film_g_m2", 24, AT_NOTHING] == 1
    found = outcomes(0, {"lid_film_g_m2": course(10.0, 30.0)}, truth(lid_film_g_m2=12.0), [])
    assert found["lid_film_g_m2", 24, AT_NOTHING] == 0
    assert Held(88, 1, 11, 90, 86).due == pytest.approx(0.89)


def test_a_lead_at_which_nothing_came_leaves_its_column_empty() -> None:
    rows = coverage_rows("lid_film_g_m2", {1: Held(8, 1, 1, 2, 7), 12: Held(9, 1, 0, 0, 9)})
    assert [len(row) for row in rows] == [len(BAND_HEADER)] * 3
    assert rows[0][:5] == ("lid_film_g_m2", "80% -10% +10%", "", "", "90% -10% +0%")
    assert rows[1][:5] == ("  between the ends", "70%", "", "", "90%")
