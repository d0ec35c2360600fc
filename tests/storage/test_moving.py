"""A history moved to InfluxDB and back, stopped half-way, refused, and compared to the last bit."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from storage.influx_front import Fault
from storage.kept import KeptInInflux
from storage.readings_places import START_MS, all_rows, timed
from underlid.cli import underlid
from underlid.readings.values import Reading, TimeSource
from underlid.storage import sqlite_target
from underlid.storage.folder import folder_in_use
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.moving import checksum, like
from underlid.storage.records import Records
from underlid.storage.series import cut
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

Run = Callable[..., Result]

DAYS = 40
PROBES = ("tansy-1", "sorrel-1")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    data = tmp_path / "data"
    data.mkdir()
    Records.open(f"sqlite:///{data / 'records.sqlite'}").close()
    store = SqliteReadings(data / "readings.sqlite", 10**5, 10**5)
    for place, probe in enumerate(PROBES):
        store.write(
            [
                Reading(
                    probe,
                    "potting",
                    START_MS + n * 30 * MINUTE_MS + place,
                    START_MS + n * 30 * MINUTE_MS + 400 + n % 7,
                    {"bed_temp_c": n / 16, **({"soil_raw": 1800.0 + n} if n % 3 else {})},
                    TimeSource.DEVICE if n % 5 else TimeSource.RECEIPT,
                )
                for n in range(DAYS * 48)
            ]
        )
    store.pack(START_MS + (DAYS - 1) * DAY_MS)
    store.close()
    return data


@pytest.fixture
def run(folder: Path, in_influx: KeptInInflux, monkeypatch: pytest.MonkeyPatch) -> Run:
    place = in_influx.place()
    for name, value in (
        ("URL", place.url),
        ("TOKEN", place.token),
        ("BUCKET", place.bucket),
    ):
        monkeypatch.setenv(f"UNDERLID_INFLUXDB_{name}", value)
    monkeypatch.setenv("UNDERLID_RAW_DAYS", "100000")

    def invoke(*words: str) -> Result:
        return CliRunner().invoke(underlid, [*words, "--data", str(folder)])

    return invoke


def moved(result: Result) -> list[dict[str, object]]:
    assert result.exit_code == 0, result.output
    found: list[dict[str, object]] = json.loads(result.stdout)
    return found


def test_there_and_back_again_is_the_same(
    run: Run, folder: Path, in_influx: KeptInInflux, tmp_path: Path
) -> None:
    first = moved(run("move-readings", "--to", "influx", "--json"))
    assert [one["month"] for one in first] == ["2024-10", "2024-11"] * 2
    assert sum(int(str(one["readings"])) for one in first) == 2 * DAYS * 48
    store = in_influx.open()
    assert isinstance(store, InfluxReadings)
    with_rows = SqliteReadings(folder / "readings.sqlite", 10**5, 10**5)
    for probe in PROBES:
        ours = with_rows.raw(probe, 0, 2 * START_MS)
        theirs = store.raw(probe, 0, 2 * START_MS)
        assert checksum(ours) == checksum(theirs)
        assert np.array_equal(ours.received_at_ms, theirs.received_at_ms)
        assert np.array_equal(ours.time_source, theirs.time_source)
    seen = {one.probe: one for one in store.probes_seen()}
    assert seen == {one.probe: one for one in with_rows.probes_seen()}
    before = len(in_influx.front.queries)
    end_ms = START_MS + DAYS * DAY_MS
    hours = store.buckets("tansy-1", START_MS, end_ms, HOUR_MS)
    assert int(hours.count["bed_temp_c"].sum()) == DAYS * 48
    assert not any("FROM+reading" in one for one in in_influx.front.queries[before:]), "kept hours"
    with_rows.close()
    (folder / "readings.sqlite").rename(tmp_path / "old.sqlite")
    back = moved(run("move-readings", "--to", "sqlite", "--json"))
    assert [one["checksum"] for one in back] == [one["checksum"] for one in first]
    new = SqliteReadings(folder / "readings.sqlite", 10**5, 10**5)
    old = SqliteReadings(tmp_path / "old.sqlite", 10**5, 10**5)
    assert new.probes_seen() == old.probes_seen()
    new.close()
    old.close()


def test_a_stopped_move_goes_on_where_it_was(run: Run, in_influx: KeptInInflux) -> None:
    in_influx.front.faults.extend([Fault(), Fault(), Fault(), Fault(status=401)])
    result = run("move-readings", "--to", "influx")
    assert result.exit_code == 1
    assert "influxdb_token" in result.output
    again = moved(run("move-readings", "--to", "influx", "--json"))
    assert [one["was_there"] for one in again] == [True, False, False, False]
    third = run("move-readings", "--to", "influx")
    assert "4 were there already" in third.output
    store = in_influx.open()
    assert len(all_rows(store, "tansy-1")) == DAYS * 48


@pytest.mark.parametrize("batches", [1, 4, 25])
def test_a_move_back_that_was_stopped_stores_nothing_twice(
    run: Run, folder: Path, in_influx: KeptInInflux, monkeypatch: pytest.MonkeyPatch, batches: int
) -> None:
    """Rows without a time of their own too, which another one of their moment is put beside."""
    moved(run("move-readings", "--to", "influx", "--json"))
    (folder / "readings.sqlite").unlink()
    monkeypatch.setattr(sqlite_target, "ROWS_AT_ONCE", 100)
    write, left = SqliteReadings.write, iter(range(batches))

    def stopped(store: SqliteReadings, readings: list[Reading]) -> object:
        if next(left, None) is None:
            raise KeyboardInterrupt
        return write(store, readings)

    monkeypatch.setattr(SqliteReadings, "write", stopped)
    assert run("move-readings", "--to", "sqlite").exit_code == 1
    monkeypatch.setattr(SqliteReadings, "write", write)
    moved(run("move-readings", "--to", "sqlite", "--json"))
    new = SqliteReadings(folder / "readings.sqlite", 10**5, 10**5)
    store = in_influx.open()
    for probe in PROBES:
        assert all_rows(new, probe) == all_rows(store, probe)
    new.close()


def test_a_server_that_is_away_is_no_empty_history(
    run: Run, folder: Path, in_influx: KeptInInflux
) -> None:
    moved(run("move-readings", "--to", "influx", "--json"))
    (folder / "readings.sqlite").unlink()
    in_influx.front.always = Fault(status=503)
    result = run("move-readings", "--to", "sqlite")
    assert result.exit_code == 1
    assert "see that it runs" in result.output


def test_hours_are_there_before_their_rows(run: Run, in_influx: KeptInInflux) -> None:
    in_influx.front.faults.extend([Fault(), Fault(), Fault(status=401)])
    assert run("move-readings", "--to", "influx").exit_code == 1
    store = in_influx.open()
    assert all_rows(store, PROBES[0]) == {} == all_rows(store, PROBES[1])
    moved(run("move-readings", "--to", "influx", "--json"))
    before = len(in_influx.front.queries)
    hours = store.buckets("tansy-1", START_MS, START_MS + DAYS * DAY_MS, HOUR_MS)
    assert int(hours.count["bed_temp_c"].sum()) == DAYS * 48
    assert not any("FROM+reading" in one for one in in_influx.front.queries[before:])


def test_a_server_that_is_busy_is_waited_for(run: Run, in_influx: KeptInInflux) -> None:
    in_influx.front.faults.extend([Fault(status=503), Fault(status=429)])
    assert len(moved(run("move-readings", "--to", "influx", "--json"))) == 4


def test_what_did_not_arrive_is_told(run: Run, in_influx: KeptInInflux) -> None:
    in_influx.front.faults.extend([Fault(), Fault(), Fault(status=204)])
    result = run("move-readings", "--to", "influx")
    assert result.exit_code == 1
    assert "tansy-1" in result.output or "sorrel-1" in result.output
    assert "as they were" in result.output


def test_hours_whose_readings_are_forgotten_move_as_hours(
    run: Run, folder: Path, in_influx: KeptInInflux
) -> None:
    old = SqliteReadings(folder / "readings.sqlite", raw_days=20, hourly_days=10**5)
    old.pack(START_MS + DAYS * DAY_MS)
    span = ("tansy-1", START_MS, START_MS + DAYS * DAY_MS, DAY_MS)
    expected = old.buckets(*span)
    old.close()
    moved(run("move-readings", "--to", "influx", "--json"))
    found = in_influx.open().buckets(*span)
    for name in expected.count:
        assert found.count[name].tolist() == expected.count[name].tolist()
        assert np.allclose(found.mean[name], expected.mean[name], rtol=1e-12, equal_nan=True)


def test_a_folder_in_use_is_left_alone(run: Run, folder: Path) -> None:
    with folder_in_use(folder):
        result = run("move-readings", "--to", "influx")
    assert result.exit_code == 1
    assert "no other running service" in result.output


def test_checksums_see_one_changed_bit(tmp_path: Path) -> None:
    store = SqliteReadings(tmp_path / "readings.sqlite")
    store.write([timed("tansy-1", START_MS + n, {"a": n / 3, "b": 1.0}) for n in range(20)])
    series = store.raw("tansy-1", 0, 2 * START_MS)
    store.close()
    part = cut(series, 0, START_MS + 10)
    assert checksum(part) != checksum(series)
    assert checksum(like(series, part)) == checksum(part)
    whole = checksum(series)
    series.values["a"][7] = np.nextafter(series.values["a"][7], 9.0)
    assert checksum(series) != whole
