"""Commands on a folder whose readings are in InfluxDB: what `check` finds, what others read."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from storage.influx_front import Fault
from storage.kept import KeptInInflux
from storage.readings_places import START_MS, timed
from underlid.cli import underlid
from underlid.clock import SystemClock
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.records import Records


@pytest.fixture
def folder(tmp_path: Path, in_influx: KeptInInflux, monkeypatch: pytest.MonkeyPatch) -> Path:
    data = tmp_path / "data"
    data.mkdir()
    Records.open(f"sqlite:///{data / 'records.sqlite'}").close()
    place = in_influx.place()
    for name, value in (
        ("READINGS_STORE", "influxdb"),
        ("INFLUXDB_URL", place.url),
        ("INFLUXDB_TOKEN", place.token),
        ("INFLUXDB_BUCKET", place.bucket),
        ("DOOR_PORT", "0"),
        ("WEB_PORT", "0"),
    ):
        monkeypatch.setenv(f"UNDERLID_{name}", value)
    store = InfluxReadings(data / "buffer.sqlite", place, in_influx.clock)
    store.write([timed("tansy-1", START_MS, {"bed_temp_c": 20.5})])
    store.drain.empty()
    now_ms = SystemClock().now_ms()
    store.write([timed("tansy-1", now_ms, {"bed_temp_c": 21.5})])
    store.close()
    return data


def run(folder: Path, *words: str) -> Result:
    return CliRunner().invoke(underlid, [*words, "--data", str(folder)])


def test_check_finds_it_well(folder: Path) -> None:
    result = run(folder, "check")
    assert result.exit_code == 0, result.output
    assert "InfluxDB: well" in result.output
    assert "worms-need-air" not in result.output


def test_check_tells_what_is_wrong_in_its_words(folder: Path, in_influx: KeptInInflux) -> None:
    in_influx.front.always = Fault(status=401, body='{"message":"no such token"}', path="/query")
    result = run(folder, "check")
    assert result.exit_code == 1
    assert "no such token" in result.output


def test_check_tells_of_refused_readings(folder: Path, in_influx: KeptInInflux) -> None:
    store = InfluxReadings(folder / "buffer.sqlite", in_influx.place(), in_influx.clock)
    in_influx.front.faults.append(Fault(status=400, body='{"message":"points beyond retention"}'))
    store.drain.empty()
    store.close()
    result = run(folder, "check")
    assert result.exit_code == 1
    assert "readings on their way to it: 1 reading was refused" in result.output


def test_check_tells_of_readings_that_do_not_get_through(
    folder: Path, in_influx: KeptInInflux
) -> None:
    store = InfluxReadings(folder / "buffer.sqlite", in_influx.place(), in_influx.clock)
    store.write([timed("tansy-1", START_MS + 1000, {"bed_temp_c": 20.5})])
    store.close()
    result = run(folder, "check")
    assert result.exit_code == 1
    assert "2 readings wait since 2024-10-04T00:00:01Z" in result.output


@pytest.mark.parametrize("words", [("probes", "list"), ("export", "readings", "-")])
def test_a_command_does_not_take_an_absence_for_silence(
    folder: Path, in_influx: KeptInInflux, words: tuple[str, ...]
) -> None:
    in_influx.front.always = Fault(status=503, path="/query")
    result = run(folder, *words)
    assert result.exit_code == 1
    assert "see that it runs" in result.output


def test_what_waits_and_what_was_sent_is_read_as_one(folder: Path, tmp_path: Path) -> None:
    (probe,) = json.loads(run(folder, "probes", "list", "--json").stdout)
    assert "21.5" in json.dumps(probe)
    file = tmp_path / "out.csv"
    result = run(folder, "export", "readings", str(file))
    assert result.exit_code == 0, result.output
    assert [line.count("bed_temp_c") for line in file.read_text().splitlines()[1:]] == [1, 1]
