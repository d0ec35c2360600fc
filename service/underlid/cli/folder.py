"""The data folder as commands see it: its settings, its records, its readings."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from underlid.config import Settings, load
from underlid.errors import UnderlidError
from underlid.storage.protocols import ReadingStore
from underlid.storage.readings_store import open_readings
from underlid.storage.records import Records

data_option = click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    help="The data folder; otherwise the setting `data`.",
)


@contextmanager
def records_in(data: Path | None) -> Iterator[Records]:
    """Open the records of a folder that a service has used."""
    settings = load(data=data)
    require_used(settings)
    records = Records.open(settings.records_address)
    try:
        yield records
    finally:
        records.close()


@contextmanager
def readings_in(settings: Settings) -> Iterator[ReadingStore]:
    """Open the readings of a folder that a service has used."""
    require_used(settings)
    store = open_readings(settings)
    try:
        yield store
    finally:
        store.close()


def require_used(settings: Settings, file: Path | None = None) -> None:
    """Refuse a folder without databases (or *file*): a slip in its name must not make a new one."""
    file = file or settings.records_path
    if file is not None and not file.exists():
        raise UnderlidError(
            "data folder",
            value=str(settings.data),
            expected="a folder that `underlid serve` has used",
            next_step="Start the service once, or choose the folder with --data.",
        )
