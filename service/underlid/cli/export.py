"""`underlid export`: readings, journal and set-up of the data folder as files."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from underlid.cli.folder import data_option, readings_in, records_in
from underlid.cli.sentence import MOMENT, counted
from underlid.cli.target import replace_option, require_free
from underlid.config import load
from underlid.errors import UnderlidError
from underlid.files import parquet
from underlid.files.journal_csv import write_journal
from underlid.files.photo_folder import require_empty, write_photos
from underlid.files.readings_csv import write_readings
from underlid.files.setup import setup_text
from underlid.journal.entries import Entry
from underlid.storage.history import stored_readings
from underlid.storage.records import Records

OUT = click.Path(dir_okay=False, allow_dash=True, path_type=Path)

PAGE = 5000
"""Entries asked for at once."""


@click.group()
def export() -> None:
    """Write readings, journal or set-up to files.

    Example: underlid export readings readings.csv
    """


@export.command(name="readings")
@click.argument("file", type=OUT)
@click.option("--probe", "probes", multiple=True, help="Only this probe; may be repeated.")
@click.option("--from", "from_ms", type=MOMENT, help="First time taken.")
@click.option("--until", "until_ms", type=MOMENT, help="First time not taken any more.")
@replace_option
@data_option
def export_readings(
    file: Path,
    probes: tuple[str, ...],
    from_ms: int | None,
    until_ms: int | None,
    replace: bool,
    data: Path | None,
) -> None:
    """Write raw readings to FILE: CSV, or Parquet when it ends in .parquet; - for standard output.

    Raw: as the probes said, before calibration. The service may run.

    Example: underlid export readings spring.csv --from 2026-03-01T00:00:00Z
    """
    require_free(file, replace)
    with readings_in(load(data=data)) as store:
        seen = {one.probe: one for one in store.probes_seen(sure=True)}
        for probe in probes:
            if probe not in seen:
                raise UnderlidError(
                    "probe",
                    value=probe,
                    expected="one that has sent readings",
                    next_step="List them with `underlid probes list`.",
                )
        chosen = [one for name, one in seen.items() if not probes or name in probes]
        first = min((one.first_taken_at_ms for one in chosen), default=0)
        last = max((one.last_taken_at_ms for one in chosen), default=-1) + 1
        readings = stored_readings(
            store,
            {one.probe: one.shed for one in chosen},
            first if from_ms is None else max(first, from_ms),
            last if until_ms is None else min(last, until_ms),
        )
        if file.suffix.lower() == ".parquet":
            rows = parquet.write_readings(file, readings)
        else:
            with click.open_file(str(file), "w", encoding="utf-8") as out:
                rows = write_readings(out, readings)
    click.echo(f"Wrote {counted(rows, 'value')}.", err=True)


@export.command(name="journal")
@click.argument("file", type=OUT)
@click.option("--bin", "bin_id", help="Only this bin.")
@click.option(
    "--photos",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    help="An empty folder, or a new one, for the photos.",
)
@replace_option
@data_option
def export_journal(
    file: Path, bin_id: str | None, folder: Path | None, replace: bool, data: Path | None
) -> None:
    """Write the journal, in its newest versions, to FILE: CSV, Parquet, or - for standard output.

    With --photos, the photos go into a folder, with a list of what they belong to, photos.csv.

    Example: underlid export journal journal.csv --photos journal-photos
    """
    require_free(file, replace)
    if folder is not None:
        require_empty(folder)
    with records_in(data) as records:
        entries = sorted(_all(records, bin_id), key=lambda one: (one.at_ms, one.id))
        if not entries and bin_id is not None and bin_id not in records.setup().bins:
            raise UnderlidError(
                "bin",
                value=bin_id,
                expected="a bin that is set up, or was and has a journal",
                next_step="List them with `underlid bins list`.",
            )
        written = 0 if folder is None else write_photos(folder, entries, records)
    if file.suffix.lower() == ".parquet":
        count = parquet.write_journal(file, entries)
    else:
        with click.open_file(str(file), "w", encoding="utf-8") as out:
            count = write_journal(out, entries)
    photos = f" and {counted(written, 'photo')}" if folder is not None else ""
    click.echo(f"Wrote {counted(count, 'entry', 'entries')}{photos}.", err=True)


@export.command(name="setup")
@click.argument("file", type=OUT)
@replace_option
@data_option
def export_setup(file: Path, replace: bool, data: Path | None) -> None:
    """Write sheds, bins and probes to FILE as a set-up file; - for standard output.

    Example: underlid export setup shed.toml
    """
    require_free(file, replace)
    with records_in(data) as records:
        text = setup_text(records.setup())
    with click.open_file(str(file), "w", encoding="utf-8") as out:
        out.write(text)


def _all(records: Records, bin_id: str | None) -> Iterator[Entry]:
    before: str | None = None
    while True:
        page = records.entries(bin_id, most=PAGE, before=before)
        yield from page
        if len(page) < PAGE:
            return
        before = page[-1].id
