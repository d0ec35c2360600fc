"""Photos from the command line: counted in the list, written beside the journal, left by an import."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from drawn import drawn
from storage.records_places import PLACE
from underlid.cli import underlid
from underlid.files.photos import prepare_photo
from underlid.journal.entries import Entry, Turned
from underlid.storage.records import Records
from underlid.timeline import parse_time_ms

AT_MS = parse_time_ms("2026-05-01T18:30:00Z")


@pytest.fixture
def run(tmp_path: Path) -> Callable[..., Result]:
    """A folder with two entries, one of them with two photos; and a way to run commands on it."""
    folder = tmp_path / "data"
    folder.mkdir()
    records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
    records.save_setup(PLACE)
    for number in range(2):
        records.add_entry(Entry(f"e{number}", "tansy", AT_MS + number, AT_MS, Turned(), "Ash"))
    for number in range(2):
        records.add_photo(
            "e1",
            prepare_photo(drawn(60 + number)),
            new_id=f"p{number}",
            by="Ash",
            words="mites",
            at_ms=AT_MS,
            room_bytes=10**9,
        )
    records.close()

    def invoke(*words: str, code: int = 0, data: Path = folder) -> Result:
        result = CliRunner().invoke(underlid, [*words, "--data", str(data)])
        assert result.exit_code == code, result.output
        return result

    return invoke


def test_the_list_counts_photos(run: Callable[..., Result]) -> None:
    listed = json.loads(run("entries", "list", "--json").stdout)
    assert {one["id"]: one["photos"] for one in listed} == {"e0": 0, "e1": 2}
    assert run("entries", "list").stdout.splitlines()[0].split()[-1] == "photos"


def test_an_export_writes_photos_with_a_list(run: Callable[..., Result], tmp_path: Path) -> None:
    folder, file = tmp_path / "photos", tmp_path / "journal.csv"
    said = run("export", "journal", str(file), "--photos", str(folder))
    assert "Wrote 2 entries and 2 photos." in said.output
    with (folder / "photos.csv").open(encoding="utf-8") as listed:
        rows = list(csv.DictReader(listed))
    assert [row["file"] for row in rows] == [
        f"2026-05-01T183000-tansy-turned-p{number}.jpg" for number in range(2)
    ]
    assert (rows[0]["bin"], rows[0]["kind"], rows[0]["by"]) == ("tansy", "turned", "Ash")
    assert (folder / rows[0]["file"]).read_bytes() == prepare_photo(drawn(60)).full
    again = run("export", "journal", str(tmp_path / "2.csv"), "--photos", str(folder), code=1)
    assert "an empty folder, or none yet" in again.output

    fresh = tmp_path / "fresh"
    run("import", "setup", str(_setup(run, tmp_path)), data=fresh)
    run("import", "journal", str(file), data=fresh)
    listed_there = json.loads(run("entries", "list", "--json", data=fresh).stdout)
    assert [one["photos"] for one in listed_there] == [0, 0]


def _setup(run: Callable[..., Result], tmp_path: Path) -> Path:
    run("export", "setup", str(tmp_path / "shed.toml"))
    return tmp_path / "shed.toml"


def test_a_backup_brings_photos_back(run: Callable[..., Result], tmp_path: Path) -> None:
    run("backup", str(tmp_path / "b.zip"))
    there = tmp_path / "there"
    run("restore", str(tmp_path / "b.zip"), data=there)
    run("export", "journal", str(tmp_path / "j.csv"), "--photos", str(tmp_path / "p"), data=there)
    assert len(list((tmp_path / "p").glob("*.jpg"))) == 2
