"""A database of records in a folder of its own, with one shed and two bins."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

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


def address(folder: Path) -> str:
    """Return the address of the database in *folder*."""
    return f"sqlite:///{folder / 'records.db'}"


@contextmanager
def fresh(place: Setup = PLACE) -> Iterator[Records]:
    """Give records in a new folder, with *place* set up."""
    with TemporaryDirectory() as folder:
        records = Records.open(address(Path(folder)))
        try:
            records.save_setup(place)
            yield records
        finally:
            records.close()
