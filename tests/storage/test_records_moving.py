"""Records move from a file to a real PostgreSQL and back, whole and equal, or not at all."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from click.testing import CliRunner, Result

from storage.postgres import cluster
from storage.records_places import PLACE
from storage.test_records_alerts import ALERT, BEGAN, RAISED, TOLD
from storage.test_records_photos import add
from underlid.alerts.routes import RouteRules
from underlid.binmodel.bins import Calibration
from underlid.cli import underlid
from underlid.journal.entries import Entry, Feed, Note, Portion, Sighting
from underlid.storage.records import Records
from underlid.storage.records.database import Database
from underlid.storage.records.moving import moved_tables, row_count

ODD = "Æ 💧 ' \" \\ {}\n"


def live(folder: Path) -> Path:
    """Make a folder whose records have something of nearly everything."""
    data = folder / "data"
    data.mkdir()
    records = Records.open(f"sqlite:///{data / 'records.sqlite'}")
    records.save_setup(PLACE)
    place = PLACE.probes["tansy-1"]
    calibration = Calibration("bed_temp_c", 1.0, -0.1 - 0.2, how=ODD)
    records.place_probe(
        replace(place, soil_points=((0.1 + 0.2, 62.0),), calibrations=(calibration,))
    )
    records.add_entry(Entry("e1", "tansy", 1000, 1000, Note(), "Ash", ODD))
    for number in range(250):
        what = Feed((Portion("melon", 100.1 + number),)) if number % 2 else Sighting(used_up=True)
        records.add_entry(Entry(f"n{number}", "tansy", number, number, what, "Ash", ""))
    add(records, "p1", words=ODD)
    records.save_judgement([ALERT], [BEGAN, RAISED], [TOLD], ["email", "webhook"])
    records.acknowledge(ALERT.id, "Ash", 3000)
    records.add_person("Ash", "lead", "herd under the lid")
    records.add_route("Ash", "json://h/x", "json", ODD, RouteRules(digest_hour=7), 0)
    records.make_probe_secret("tansy-1")
    records.take_out("sorrel", None, "Ash", ODD, 5)
    records.close()
    return data


def move(where: str, data: Path, url: str, *more: str) -> Result:
    words = ["move-records", "--to", where, "--data", str(data), *more]
    return CliRunner().invoke(underlid, words, env={"UNDERLID_RECORDS_URL": url})


def everything(url: str) -> dict[str, set[str]]:
    """Return every row of every table that moves, read by other means than those that move."""
    with closing(Database(url)) as database, database.read() as connection:
        return {
            table.name: {repr(tuple(row)) for row in connection.execute(sa.select(table))}
            for table in moved_tables()
        }


def test_all_of_it_is_there_and_goes_on_and_comes_back(tmp_path: Path) -> None:
    data, url = live(tmp_path), cluster().empty()
    file = f"sqlite:///{data / 'records.sqlite'}"
    before = everything(file)
    done = move("postgresql", data, url, "--json")
    assert done.exit_code == 0, done.output
    assert "are in both databases and equal." in done.stderr
    counts = {one["table"]: one["rows"] for one in json.loads(done.stdout)}
    assert counts == {name: len(rows) for name, rows in before.items()}
    assert sum(1 for rows in before.values() if rows) >= 14
    assert everything(url) == before == everything(file)
    records = Records.open(url)
    records.add_entry(Entry("after", "tansy", 9000, 9000, Note(), "Ash", "further"))
    records.save_judgement([], [], [replace(TOLD, key="after")], ["email"])
    assert len(records.due_deliveries(9**15, 99)) == 4
    records.close()
    again = tmp_path / "again"
    again.mkdir()
    assert move("sqlite", again, url).exit_code == 0
    assert everything(f"sqlite:///{again / 'records.sqlite'}") == everything(url)


def test_a_database_that_is_used_is_refused_and_stays_as_it_was(tmp_path: Path) -> None:
    data, url = live(tmp_path), cluster().empty()
    records = Records.open(url)
    records.add_person("Robin", "keeper", "worms under the lid")
    records.close()
    before = everything(url)
    refused = move("postgresql", data, url)
    assert refused.exit_code == 1
    assert "table people of the database that records go to is 1 rows long" in refused.stderr
    assert everything(url) == before


def test_nothing_moves_while_a_service_elsewhere_works_on_the_database(tmp_path: Path) -> None:
    data, url = live(tmp_path), cluster().empty()
    again = tmp_path / "again"
    again.mkdir()
    records = Records.open(url)
    held = records.share("barn-1", "shed", ["potting"], [], 60_000)
    for where, folder in (("postgresql", data), ("sqlite", again)):
        refused = move(where, folder, url)
        assert refused.exit_code == 1
        assert "in use by barn-1, expected databases that no running service" in refused.stderr
    records.leave("barn-1", held)
    records.close()
    assert move("postgresql", data, url).exit_code == 0


def test_what_postgresql_cannot_keep_leaves_nothing_there(tmp_path: Path) -> None:
    data, url = live(tmp_path), cluster().empty()
    with closing(sqlite3.connect(data / "records.sqlite")) as file, file:
        file.execute("UPDATE routes SET label = 'a' || char(0) || 'b'")
    refused = move("postgresql", data, url)
    assert refused.exit_code == 1
    assert "unprintable" in refused.stderr
    with closing(Database(url)) as database:
        assert row_count(database) <= 1  # what every new database begins with


@pytest.mark.parametrize(("where", "url"), [("postgresql", ""), ("sqlite", "")])
def test_without_an_address_or_a_folder_it_says_so(tmp_path: Path, where: str, url: str) -> None:
    assert "setting records_url is empty" in move(where, tmp_path, url).stderr
    nowhere = move("postgresql", tmp_path / "none", "postgresql://u:p@127.0.0.1:1/x")
    assert nowhere.exit_code == 1
    assert "data folder is" in nowhere.stderr
