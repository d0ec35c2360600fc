"""`underlid move-records`: set-up, journal, alerts and people from SQLite to PostgreSQL, or back."""

from __future__ import annotations

from contextlib import ExitStack, closing
from dataclasses import asdict
from pathlib import Path

import click

from underlid.cli.folder import data_option, require_used
from underlid.cli.sentence import counted, json_option, progress, say_json
from underlid.config import load
from underlid.errors import UnderlidError
from underlid.storage.folder import folder_in_use
from underlid.storage.records.database import Database
from underlid.storage.records.moving import move_records as move
from underlid.storage.records.moving import row_count


@click.command(name="move-records")
@click.option(
    "--to",
    "where",
    type=click.Choice(["postgresql", "sqlite"]),
    required=True,
    help="Where they go.",
)
@json_option
@data_option
def move_records(where: str, as_json: bool, data: Path | None) -> None:
    """Copy all records to the other database while the service is stopped, and compare.

    The other database must be empty; it gets all or nothing. Where PostgreSQL is comes from the setting
    `records_url`. The source keeps what it has. Each table is compared by count and checksum.

    Example: underlid move-records --to postgresql
    """
    settings = load(data=data)
    url = settings.records_url.get_secret_value()
    if not url:
        raise UnderlidError(
            "setting records_url",
            value="",
            expected="the address of the PostgreSQL database",
            next_step="Set UNDERLID_RECORDS_URL for this command; the service takes it when it starts.",
        )
    file = settings.data / "records.sqlite"
    if where == "postgresql":
        require_used(settings, file)
    with folder_in_use(settings.data), ExitStack() as stack:
        ends = [stack.enter_context(closing(Database(one))) for one in (f"sqlite:///{file}", url)]
        source, target = ends if where == "postgresql" else ends[::-1]
        with progress("Moving", row_count(source)) as reach:
            moved = move(source, target, reach)
    if as_json:
        say_json([asdict(one) for one in moved])
    rows = sum(one.rows for one in moved)
    click.echo(
        f"{counted(rows, 'row')} in {counted(len(moved), 'table')} are in both databases and equal.",
        err=True,
    )
