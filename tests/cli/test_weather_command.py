"""The weather outside from a file: kept for a shed, and used by a replay, from files as from the store."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from judge.series import START_MS, readings
from underlid.cli import underlid
from underlid.timeline import HOUR_MS, rfc3339

SHED_TOML = """
[shed.potting]
air_probe = "air1"
[bin.tansy]
shed = "potting"
[[bin.tansy.probe]]
id = "tansy-1"
"""
HOT_FROM_H = 168
UNTIL_H = 192


def outside_c(hour: float) -> float:
    """Return a daily swing, and a heat wave at the end of the week."""
    return 18 + 4 * math.sin(2 * math.pi * hour / 24) + (20 if hour > HOT_FROM_H else 0)


def inside(hour: float) -> dict[str, float]:
    """Return a shed that follows the weather, half a day late."""
    return {"shed_temp_c": sum(outside_c(hour - late) for late in range(12)) / 12 * 0.8 + 4}


def bed(hour: float) -> dict[str, float]:
    return {"bed_temp_c": sum(inside(hour - late)["shed_temp_c"] for late in range(12)) / 12}


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a week of readings, a heat wave after it, and weather known a day before."""
    folder = tmp_path_factory.mktemp("heat-wave")
    (folder / "shed.toml").write_text(SHED_TOML)
    with (folder / "readings.csv").open("w") as file:
        file.write("time,probe,channel,value\n")
        for one in readings(bed, inside, UNTIL_H, 20):
            for channel, value in one.values.items():
                file.write(f"{rfc3339(one.taken_at_ms)},{one.probe},{channel},{value:.2f}\n")
    with (folder / "weather.csv").open("w") as file:
        file.write("time,temp_c,received\n")
        for hour in range(UNTIL_H + 72):
            at_ms = START_MS + hour * HOUR_MS
            known_ms = min(at_ms, START_MS + (HOT_FROM_H - 24) * HOUR_MS)
            file.write(f"{rfc3339(at_ms)},{outside_c(hour):.1f},{rfc3339(known_ms)}\n")
    return folder


def invoke(*words: object, code: int = 0) -> str:
    result = CliRunner().invoke(underlid, [str(word) for word in words])
    assert result.exit_code == code, result.output
    return result.stdout if code == 0 else result.stderr


def from_files(files: Path, *more: object) -> str:
    where = ("--setup", files / "shed.toml", "--readings", files / "readings.csv")
    return invoke("replay", *where, "--tick", 1200, *more)


def first_heat(verdicts: str) -> dict[str, Any]:
    """Return the first alert of heat."""
    lines = [json.loads(line) for line in verdicts.splitlines()]
    return next(
        one for one in lines if one["event"] == "alert_raised" and one["condition"] == "overheating"
    )


@pytest.fixture(scope="module")
def with_weather(files: Path) -> str:
    return from_files(files, "--weather", files / "weather.csv")


def test_weather_lets_a_replay_foresee_heat_sooner(files: Path, with_weather: str) -> None:
    sooner, later = first_heat(with_weather), first_heat(from_files(files))
    assert sooner["time"] < later["time"]
    assert sooner["forecast_for"] > sooner["time"]
    assert sooner["cause"] == "room"
    assert sooner["time"] > rfc3339(START_MS + (HOT_FROM_H - 24) * HOUR_MS), "known no earlier"


def test_weather_that_is_kept_for_a_shed_is_what_the_store_is_replayed_with(
    files: Path, with_weather: str, tmp_path: Path
) -> None:
    data = ("--data", tmp_path / "data")
    invoke("import", "setup", files / "shed.toml", *data)
    invoke("import", "readings", files / "readings.csv", *data)
    said = invoke("weather", "potting", files / "weather.csv", *data)
    assert said == f"Kept {UNTIL_H + 72} new rows of {UNTIL_H + 72} for the shed potting.\n"
    assert "Kept 0 new rows" in invoke("weather", "potting", files / "weather.csv", *data)
    assert invoke("replay", "--tick", 1200, *data) == with_weather


def test_weather_for_no_shed_or_without_columns_is_refused(files: Path, tmp_path: Path) -> None:
    data = ("--data", tmp_path / "data")
    invoke("import", "setup", files / "shed.toml", *data)
    assert "'nowhere'" in invoke("weather", "nowhere", files / "weather.csv", *data, code=1)
    bad = tmp_path / "bad.csv"
    bad.write_text("when,degrees\n2026-05-01T00:00:00Z,12\n")
    assert "time,temp_c" in invoke("weather", "potting", bad, *data, code=1)
    bad.write_text("time,temp_c\n2026-05-01T00:00:00Z,99\n")
    assert "bad.csv line 2" in invoke("weather", "potting", bad, *data, code=1)
