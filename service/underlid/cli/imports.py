"""`underlid import`: readings, an old notebook or a set-up from files into the data folder."""

from __future__ import annotations

from pathlib import Path

import click

from underlid.cli.folder import data_option, readings_in, records_in
from underlid.cli.sentence import counted, progress
from underlid.config import load
from underlid.files import parquet, readings_csv
from underlid.files.journal_csv import read_journal
from underlid.files.refused_rows import RefusedRows
from underlid.files.setup import read_setup
from underlid.storage.folder import folder_in_use, prepare_folder
from underlid.storage.records import Records

FILE = click.Path(exists=True, dir_okay=False, path_type=Path)

READINGS_AT_ONCE = 5000
"""Readings in one commit."""

skip_option = click.option(
    "--skip-bad", is_flag=True, help="Count bad rows instead of stopping at the first."
)


@click.group(name="import")
def import_() -> None:
    """Read readings, journal or set-up from files.

    Example: underlid import journal notebook.csv
    """


@import_.command(name="readings")
@click.argument("file", type=FILE)
@click.option("--shed", help="Shed of probes that have no place yet.")
@skip_option
@data_option
def import_readings(file: Path, shed: str | None, skip_bad: bool, data: Path | None) -> None:
    """Store the readings in FILE (CSV or Parquet) while the service is stopped.

    Readings that are stored already are not stored twice.

    Example: underlid import readings readings.csv
    """
    settings = load(data=data)
    refused = RefusedRows(skip=skip_bad)
    with records_in(data) as records:
        setup = records.setup()
    with folder_in_use(settings.data), readings_in(settings) as store:
        sheds = {one.probe: one.shed for one in store.probes_seen()}
        sheds |= {place.probe: place.shed for place in setup.probes.values()}
        fallback = shed or next(iter(setup.sheds), readings_csv.UNPLACED_SHED)
        read = parquet.read_readings if _is_parquet(file) else readings_csv.read_readings
        found = read(file, sheds, refused, fallback)
        with progress("Storing", len(found.readings)) as reach:
            for first in range(0, len(found.readings), READINGS_AT_ONCE):
                store.write(found.readings[first : first + READINGS_AT_ONCE])
                store.checkpoint()
                reach(first + READINGS_AT_ONCE)
    _say_refused(refused)
    taken = counted(len(found.readings), "reading")
    click.echo(f"Took in {taken}; those already there were not stored again.", err=True)


@import_.command(name="journal")
@click.argument("file", type=FILE)
@skip_option
@data_option
def import_journal(file: Path, skip_bad: bool, data: Path | None) -> None:
    """Add the entries in FILE (CSV or Parquet) to the journal; the service may run.

    The same row read again is not added twice. A time may be a day, 2026-05-01, or a day and an hour on the
    wall of the bin's shed, 2026-05-01 18:30.

    Example: underlid import journal notebook.csv --skip-bad
    """
    refused = RefusedRows(skip=skip_bad)
    with records_in(data) as records:
        setup = records.setup()
        zones = {one.id: setup.sheds[one.shed].timezone for one in setup.bins.values()}
        if _is_parquet(file):
            entries = parquet.read_journal(file, refused)
        else:
            entries = read_journal(file, refused, zones)
        for entry in entries:
            records.add_entry(entry, f"import {entry.id}")
    _say_refused(refused)
    had = counted(len(entries), "entry", "entries")
    click.echo(f"Took in {had}; those already there were not added again.", err=True)


@import_.command(name="setup")
@click.argument("file", type=FILE)
@data_option
def import_setup(file: Path, data: Path | None) -> None:
    """Add or change the sheds, bins and probes that FILE (TOML) names; the service may run.

    What the file does not name stays as it is.

    Example: underlid import setup shed.toml
    """
    setup = read_setup(file)
    settings = load(data=data)
    prepare_folder(settings.data)
    records = Records.open(settings.records_address)
    try:
        records.save_setup(setup)
    finally:
        records.close()
    sheds, bins = counted(len(setup.sheds), "shed"), counted(len(setup.bins), "bin")
    click.echo(f"Set up {sheds}, {bins}, {counted(len(setup.probes), 'probe')}.", err=True)


def _say_refused(refused: RefusedRows) -> None:
    for sentence in refused.sentences:
        click.echo(f"Skipped: {sentence}", err=True)
    if refused.count:
        click.echo(f"Skipped {counted(refused.count, 'bad row')}.", err=True)


def _is_parquet(file: Path) -> bool:
    return file.suffix.lower() == ".parquet"
