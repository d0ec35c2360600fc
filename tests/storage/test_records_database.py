"""The database itself: its steps, its durability, its refusals."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy.dialects import postgresql

from storage.records_places import PLACE, address, file_address
from storage.test_records_alerts import ALERT
from underlid.errors import UnderlidError
from underlid.rules.finding import Priority
from underlid.storage.records import Records
from underlid.storage.records.database import Database
from underlid.storage.records.migrate import migration_sql
from underlid.storage.records.tables import metadata

LATER = (
    "mappings", "past_filters", "photo_versions", "photo_pictures", "routes", "own_keys",
    "out_of_service",
)  # fmt: skip
"""Tables that came after the told priority."""


@pytest.mark.usefixtures("either_database")
def test_the_steps_make_exactly_the_tables_the_code_sees(tmp_path: Path) -> None:
    database = Database(address(tmp_path))
    with database.read() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
    database.close()


@pytest.mark.usefixtures("either_database")
def test_alerts_kept_before_the_told_priority_was_are_kept_and_may_be_told_once_more(
    tmp_path: Path,
) -> None:
    told = replace(ALERT, told_priority=Priority.MEDIUM)
    records = Records.open(address(tmp_path))
    records.save_setup(PLACE)
    records.save_judgement([told], [], [], [])
    records.close()
    database = Database(address(tmp_path))
    with database.write() as connection:
        connection.exec_driver_sql("ALTER TABLE alerts DROP COLUMN told_priority")
        connection.exec_driver_sql("ALTER TABLE alerts DROP COLUMN said")
        for table in LATER:
            connection.exec_driver_sql(f"DROP TABLE {table}")
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '0003'")
    database.close()
    records = Records.open(address(tmp_path))
    assert records.open_alerts() == [ALERT]
    records.save_judgement([told], [], [], [])
    assert records.open_alerts() == [told]
    assert records.setup() == PLACE
    records.close()


def test_the_steps_make_the_same_tables_on_postgresql() -> None:
    made = migration_sql("postgresql")
    for table in metadata.sorted_tables:
        wanted = str(sa.schema.CreateTable(table).compile(dialect=postgresql.dialect()))
        columns = [
            line.strip().rstrip(",") for line in wanted.splitlines() if line.startswith("\t")
        ]
        for column in columns:
            assert column in made, (table.name, column)


def test_a_commit_is_on_disk_before_the_call_returns(tmp_path: Path) -> None:
    database = Database(file_address(tmp_path))
    with database.read() as connection:
        asked = ("journal_mode", "synchronous", "foreign_keys")
        said = [connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in asked]
    assert said == ["wal", 2, 1]
    database.close()


WRITER = """
import os, sys
from underlid.journal.entries import Entry, Note
from underlid.storage.records import Records
records = Records.open(sys.argv[1])
for number in range(100_000):
    records.add_entry(Entry(f"e{number}", "tansy", number, number, Note(), text="x"))
    os.write(1, f"{number}\\n".encode())
"""


@pytest.mark.usefixtures("either_database")
def test_a_kill_loses_no_entry_that_was_answered(tmp_path: Path) -> None:
    records = Records.open(address(tmp_path))
    records.save_setup(PLACE)
    records.close()
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, address(tmp_path)],
        stdout=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": "service"},
        cwd=Path(__file__).parents[2],
    )
    assert writer.stdout is not None
    answered = [int(writer.stdout.readline()) for _ in range(200)]
    writer.send_signal(signal.SIGKILL)
    answered += [int(line) for line in writer.stdout.read().split()]
    writer.wait()
    records = Records.open(address(tmp_path))
    stored = {int(entry.id[1:]) for entry in records.entries(most=10_000)}
    records.close()
    assert set(answered) <= stored
    assert len(stored) <= len(answered) + 1


@pytest.mark.usefixtures("either_database")
def test_two_processes_share_the_database(tmp_path: Path) -> None:
    first, second = Records.open(address(tmp_path)), Records.open(address(tmp_path))
    first.save_setup(PLACE)
    assert second.setup() == PLACE
    second.remove_bin("tansy")
    assert first.revision() == 2
    first.close()
    second.close()


@pytest.mark.parametrize(
    "url", ["nonsense", "sqlite:////no/such/folder/records.db", "oracle:///x", ""]
)
def test_a_database_that_does_not_open_is_refused_in_words(url: str) -> None:
    with pytest.raises(UnderlidError, match="database of records"):
        Records.open(url)


def test_a_file_that_is_no_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "records.db"
    file.write_text("not a database, but somebody's notes" * 100)
    with pytest.raises(UnderlidError, match="database of records"):
        Records.open(file_address(tmp_path))
    assert file.read_text().startswith("not a database")


def test_tables_of_a_later_version_are_refused(tmp_path: Path) -> None:
    Records.open(file_address(tmp_path)).close()
    with sqlite3.connect(tmp_path / "records.db") as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.close()
    with pytest.raises(UnderlidError, match="made by this version or an earlier one"):
        Records.open(file_address(tmp_path))


def test_a_password_is_not_shown_when_the_address_fails() -> None:
    with pytest.raises(UnderlidError) as caught:
        Records.open("sqlite://ash:herd-secret@/no/such/folder/records.db")
    assert "herd-secret" not in str(caught.value)
