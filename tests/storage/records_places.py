"""A database of records of its own, SQLite or PostgreSQL, with one shed and two bins."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import ClassVar

from programs import require
from storage.postgres import cluster
from underlid.binmodel.bins import Bin, ProbePlace, Setup, Shed
from underlid.storage.records import Records

PLACE = Setup(
    {"potting": Shed("potting", "Potting shed", "air1")},
    {"tansy": Bin("tansy", "potting", "Tansy"), "sorrel": Bin("sorrel", "potting", "Sorrel")},
    {
        "tansy-1": ProbePlace("tansy-1", "potting", "tansy"),
        "air1": ProbePlace("air1", "potting", None),
    },
)


SQLITE, POSTGRESQL = "sqlite", "postgresql"


class Chosen:
    """Which database the tests that run now are about; `conftest.py` sets it."""

    kind = SQLITE
    made: ClassVar[dict[Path, str]] = {}


def address(folder: Path) -> str:
    """Return the address of the database that belongs to *folder*."""
    if Chosen.kind == SQLITE:
        return file_address(folder)
    if folder not in Chosen.made:
        Chosen.made[folder] = cluster().fresh()
    return Chosen.made[folder]


def file_address(folder: Path) -> str:
    """Return the address of an SQLite file in *folder*."""
    return f"sqlite:///{folder / 'records.db'}"


@contextmanager
def fresh(place: Setup = PLACE) -> Iterator[Records]:
    """Give records in a database of their own, with *place* set up."""
    with _unused() as where:
        records = Records.open(where)
        try:
            records.save_setup(place)
            yield records
        finally:
            records.close()


def everything(folder: Path) -> bytes:
    """Return all that the database of *folder* keeps."""
    if Chosen.kind == SQLITE:
        return b"".join(path.read_bytes() for path in folder.iterdir())
    command = [require("pg_dump"), address(folder)]
    return subprocess.run(command, check=True, capture_output=True).stdout


@contextmanager
def _unused() -> Iterator[str]:
    if Chosen.kind == SQLITE:
        with TemporaryDirectory() as folder:
            yield address(Path(folder))
        return
    borrowed = cluster().borrow()
    yield borrowed
    cluster().give_back(borrowed)
