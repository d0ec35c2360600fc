"""`underlid backup` and `underlid restore`: the data folder as one file, and back."""

from __future__ import annotations

from pathlib import Path

import click

from underlid.cli.folder import data_option
from underlid.cli.sentence import counted
from underlid.cli.target import replace_option, require_free
from underlid.clock import SystemClock
from underlid.config import load
from underlid.errors import UnderlidError
from underlid.files.backup import restore_backup, write_backup


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@replace_option
@data_option
def backup(file: Path, replace: bool, data: Path | None) -> None:
    """Write the whole data folder into FILE (a zip file), while the service runs.

    FILE holds passwords and the keys of messages: keep it where others cannot read it.

    Example: underlid backup /media/stick/underlid.zip
    """
    require_free(file, replace)
    settings = load(data=data)
    if settings.several:
        raise UnderlidError(
            "the stores",
            value="PostgreSQL and InfluxDB",
            expected="databases in the data folder",
            next_step="Back them up with their own tools: pg_dump and influx backup.",
        )
    if settings.records_path is None:
        click.echo("The records are in PostgreSQL: back them up with pg_dump.", err=True)
    size = write_backup(settings.data, file, SystemClock().now_ms())
    click.echo(f"Wrote {file} ({size / 1e6:.1f} MB).", err=True)


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@data_option
def restore(file: Path, data: Path | None) -> None:
    """Unpack a backup FILE into an empty data folder; whole, or not at all.

    Example: underlid restore /media/stick/underlid.zip --data underlid-data
    """
    folder = load(data=data).data
    count = restore_backup(file, folder)
    click.echo(f"Restored {counted(count, 'file')} into {folder}.", err=True)
