"""A data folder with a set-up and some readings, and a way to run a command on it."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from cli.running import Run
from files.samples import SHED_TOML, reading
from underlid.cli import underlid
from underlid.storage.sqlite_readings import SqliteReadings


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """Return a data folder with a set-up and some readings."""
    folder = tmp_path / "data"
    (tmp_path / "shed.toml").write_text(SHED_TOML)
    result = CliRunner().invoke(
        underlid, ["import", "setup", str(tmp_path / "shed.toml"), "--data", str(folder)]
    )
    assert result.exit_code == 0, result.output
    store = SqliteReadings(folder / "readings.sqlite")
    store.write([reading(minute, bed_temp_c=21.0 + minute / 100) for minute in range(30)])
    store.write([reading(3, probe="stray-1")])
    store.close()
    return folder


@pytest.fixture
def run(data: Path) -> Run:
    """Return a way to run a command on the folder."""

    def invoke(*words: str, code: int = 0) -> Result:
        result = CliRunner().invoke(underlid, [*words, "--data", str(data)])
        assert result.exit_code == code, result.output
        return result

    return invoke
