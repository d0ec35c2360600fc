"""`simulate` and `replay` from outside: files in, verdicts out; the store gives the same."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from underlid.cli import underlid


def invoke(*words: object, code: int = 0) -> str:
    result = CliRunner().invoke(underlid, [str(word) for word in words])
    assert result.exit_code == code, result.output
    return result.stdout if code == 0 else result.stderr


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with four simulated days of Tansy, the mishaps from the second on."""
    folder = tmp_path_factory.mktemp("invented")
    invoke("simulate", folder, "--days", 4, "--calm-days", 1, "--bins", "tansy", "--every", 300,
           "--start", "2026-05-01T00:00:00Z")  # fmt: skip
    return folder


def from_files(files: Path, *more: object) -> str:
    return invoke(
        "replay", "--setup", files / "shed.toml", "--readings", files / "readings.csv",
        "--journal", files / "journal.csv", *more,
    )  # fmt: skip


def test_the_files_are_the_same_again(files: Path, tmp_path: Path) -> None:
    invoke("simulate", tmp_path, "--days", 4, "--calm-days", 1, "--bins", "tansy", "--every", 300,
           "--start", "2026-05-01T00:00:00Z")  # fmt: skip
    for name in ("readings.csv", "journal.csv", "shed.toml", "truth.csv"):
        assert (tmp_path / name).read_bytes() == (files / name).read_bytes(), name


def test_verdicts_are_json_lines_in_time_order(files: Path, tmp_path: Path) -> None:
    out = tmp_path / "verdicts.jsonl"
    table = from_files(files, "--out", out, "--summary")
    lines = [json.loads(line) for line in out.read_text().splitlines()]
    assert [line["time"] for line in lines] == sorted(line["time"] for line in lines)
    heat = [one for one in lines if one.get("condition") == "overheating"]
    raised = [one for one in heat if one["event"] == "alert_raised"]
    assert {(one["cause"], one["bin"]) for one in raised} == {("feed", "tansy")}
    ahead, hot = raised[0], next(one for one in heat if "as foreseen" in one.get("reason", ""))
    assert ahead["time"] < ahead["forecast_for"]
    assert ahead["evidence"]["bed_temp_c"] < 27.0 < ahead["evidence"]["peak_temp_c"]
    assert ahead["time"] < hot["time"]
    assert hot["evidence"]["bed_temp_c"] >= 27.0
    assert any(one["event"] == "told" and one["text"] for one in lines)
    assert "overheating" in table
    assert from_files(files) == out.read_text(), "without --out they go to standard output"


def test_sentences_come_in_the_units_of_the_setting(
    files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("UNDERLID_UNITS", "us")
    lines = [json.loads(line) for line in from_files(files).splitlines()]
    hot = next(one for one in lines if one.get("condition") == "overheating")
    assert "°F" in hot["text"]
    assert not any("°C" in one["text"] for one in lines if "text" in one)
    assert not any("°C" in advice["text"] for one in lines for advice in one.get("advice", ()))
    assert 20.0 < hot["evidence"]["bed_temp_c"] < 40.0, "values stay as they are"


def test_limits_may_follow_each_other(files: Path) -> None:
    cool = from_files(files, "--limits", "hot_warn_c=40", "hot_alarm_c=41", "hot_critical_c=42")
    assert "overheating" not in cool


def test_the_store_gives_the_verdicts_of_the_files(files: Path, tmp_path: Path) -> None:
    data = tmp_path / "data"
    for kind, name in (
        ("setup", "shed.toml"),
        ("readings", "readings.csv"),
        ("journal", "journal.csv"),
    ):
        invoke("import", kind, files / name, "--data", data)
    assert invoke("replay", "--data", data) == from_files(files)


def test_bad_rows_are_refused_or_counted(files: Path, tmp_path: Path) -> None:
    bad = tmp_path / "readings.csv"
    bad.write_text((files / "readings.csv").read_text() + "noon,tansy-1,bed_temp_c,1\n")
    words = ("replay", "--setup", files / "shed.toml", "--readings", bad)
    assert "readings.csv line" in invoke(*words, code=1)
    invoke(*words, "--skip-bad", "--until", "2026-05-01T03:00:00Z")


def test_an_unknown_limit_is_refused(files: Path) -> None:
    said = invoke(
        "replay", "--setup", files / "shed.toml", "--readings", files / "readings.csv",
        "--limits", "too_hot=3", code=1,
    )  # fmt: skip
    assert "hot_warn_c" in said
