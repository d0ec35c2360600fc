"""What is foreseen of a bin, asked for by a program."""

from __future__ import annotations

from collections.abc import Iterator

import httpx
import pytest

from underlid.timeline import HOUR_MS, parse_time_ms
from web.household import NOW_MS, Household, program

CHANNELS = {"shed_temp_c", "bed_temp_c", "lid_film_g_m2", "moisture_pct"}


@pytest.fixture(scope="module")
def asking(lived: Household) -> Iterator[httpx.Client]:
    with program(lived, "reader") as client:
        yield client


def test_what_is_foreseen_is_a_course_every_third_hour_for_three_days(asking: httpx.Client) -> None:
    answer = asking.get("/api/v1/bins/tansy/forecast")
    assert answer.status_code == 200
    found = answer.json()
    assert (found["bin"], found["band_pct"], found["step_s"]) == ("tansy", 80, 3 * 3600)
    at_ms = parse_time_ms(found["at"])
    assert NOW_MS - HOUR_MS < at_ms <= NOW_MS + 2 * HOUR_MS
    assert parse_time_ms(found["first"]) == at_ms + 3 * HOUR_MS
    assert set(found["channels"]) == CHANNELS
    for name, course in found["channels"].items():
        assert set(course) == {"low", "mean", "high"}
        assert {len(values) for values in course.values()} == {24}, name
        for low, mean, high in zip(course["low"], course["mean"], course["high"], strict=True):
            assert low <= mean <= high, name


def test_the_chances_to_pass_each_limit_are_given_in_per_cent(asking: httpx.Client) -> None:
    chances = asking.get("/api/v1/bins/tansy/forecast").json()["chance_pct"]
    assert [one["limit"] for one in chances["bed_temp_c"]] == [27.0, 30.0, 33.0]
    for one in chances["bed_temp_c"] + chances["lid_film_g_m2"]:
        assert 0 <= one["within_24_h"] <= one["within_72_h"] <= 100


def test_a_bin_without_readings_has_no_forecast_and_says_so(asking: httpx.Client) -> None:
    for bin_id in ("borage", "nobody"):
        answer = asking.get(f"/api/v1/bins/{bin_id}/forecast")
        assert answer.status_code == 404
        assert answer.headers["content-type"] == "application/problem+json"
