"""Weather outside: read, kept, known only from when it was received, and used ahead."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from judge.series import START_MS, readings, setup
from underlid.binmodel.outlook.forecast import Forecast
from underlid.binmodel.outlook.weather import Weather, WeatherRow
from underlid.errors import UnderlidError
from underlid.files.weather_csv import read_weather
from underlid.judge import Judge
from underlid.storage.records import Records
from underlid.timeline import HOUR_MS, rfc3339


def outside_c(hour: float) -> float:
    """Return a daily swing, and cold weather that comes at hour 240."""
    return 15 + 6 * math.sin(2 * math.pi * hour / 24) - (10 if hour > 240 else 0)


def inside(hour: float) -> dict[str, float]:
    return {"shed_temp_c": 17 + 0.6 * (outside_c(hour) - 15)}


def bed(hour: float) -> dict[str, float]:
    return {"bed_temp_c": 18 + math.sin(2 * math.pi * hour / 24)}


def rows(received_h: float, until_h: int = 330) -> list[WeatherRow]:
    received_ms = START_MS + round(received_h * HOUR_MS)
    return [
        WeatherRow(START_MS + hour * HOUR_MS, received_ms, outside_c(hour))
        for hour in range(until_h)
    ]


def judged(weather: Weather | None) -> Forecast:
    judge = Judge(setup(), START_MS)
    if weather is not None:
        judge.set_weather("potting", weather)
    judge.add_readings(readings(bed, inside, 240, 10))
    judge.judge(START_MS + 240 * HOUR_MS)
    forecast = judge.forecast("tansy")
    assert forecast is not None
    return forecast


def test_weather_that_is_known_is_used_ahead() -> None:
    course = judged(Weather.of(rows(200))).shed_temp_c
    assert course is not None
    true = np.array([inside(240 + hour)["shed_temp_c"] for hour in range(1, 73)])
    assert np.abs(course.middle[24:60] - true[24:60]).mean() < 1.5


def test_weather_that_is_not_received_yet_changes_nothing() -> None:
    later, never = judged(Weather.of(rows(241))).shed_temp_c, judged(None).shed_temp_c
    assert later is not None
    assert never is not None
    np.testing.assert_array_equal(later.middle, never.middle)


def test_of_several_rows_for_an_hour_the_newest_that_is_known_counts() -> None:
    at_ms = START_MS + 10 * HOUR_MS
    weather = Weather.of([WeatherRow(at_ms, 1, 5.0), WeatherRow(at_ms, 3, 9.0)])
    assert weather.hourly(at_ms, 1, 2).tolist() == [5.0]
    assert weather.hourly(at_ms, 1, 3).tolist() == [9.0]
    assert np.isnan(weather.hourly(at_ms, 1, 0)).all()


def test_a_file_of_weather_is_read_and_a_bad_row_named(tmp_path: Path) -> None:
    file = tmp_path / "weather.csv"
    file.write_text(
        f"time,temp_c,rh_pct,received\n{rfc3339(START_MS)},12.5,80,{rfc3339(START_MS - HOUR_MS)}\n"
    )
    assert read_weather(file) == [WeatherRow(START_MS, START_MS - HOUR_MS, 12.5)]
    file.write_text("time,temp_c\n2026-05-01T00:00:00Z,warm\n")
    with pytest.raises(UnderlidError, match="line 2"):
        read_weather(file)


def test_weather_is_kept_once_and_for_a_shed_that_is_there(tmp_path: Path) -> None:
    records = Records.open(f"sqlite:///{tmp_path / 'records.sqlite3'}")
    try:
        with pytest.raises(UnderlidError, match="shed"):
            records.save_weather("potting", rows(0, 3))
        records.save_shed(setup().sheds["potting"])
        revision = records.revision()
        assert records.save_weather("potting", rows(0, 3)) == 3
        assert records.save_weather("potting", rows(0, 4)) == 1
        assert records.revision() > revision
        weather = records.weather("potting")
        assert weather is not None
        assert weather.temp_c.tolist() == pytest.approx([outside_c(hour) for hour in range(4)])
    finally:
        records.close()
