"""`underlid move-readings`: the readings' history from SQLite to InfluxDB, or back."""

from __future__ import annotations

from contextlib import ExitStack, closing
from pathlib import Path

import click

from underlid.cli.folder import data_option, require_used
from underlid.cli.sentence import counted, json_option, progress, say_json
from underlid.clock import SystemClock
from underlid.config import Settings, load
from underlid.storage.folder import folder_in_use
from underlid.storage.moving import Moved, Target, months_of, move_all
from underlid.storage.protocols import ReadingStore
from underlid.storage.readings_store import influx_server, open_influx, open_sqlite
from underlid.storage.sqlite_target import SqliteTarget
from underlid.timeline import rfc3339


@click.command(name="move-readings")
@click.option(
    "--to", "where", type=click.Choice(["influx", "sqlite"]), required=True, help="Where they go."
)
@json_option
@data_option
def move_readings(where: str, as_json: bool, data: Path | None) -> None:
    """Copy all readings to the other store while the service is stopped, and compare.

    Each probe's month is compared by count and checksum. Run it again after a stop: what is there
    is passed over. The source keeps what it has. Then set `readings_store` and start the service.

    Example: underlid move-readings --to influx
    """
    settings = load(data=data)
    require_used(settings)
    with folder_in_use(settings.data), ExitStack() as stack:
        source, target = _ends(settings, where, stack)
        total = sum(1 for seen in source.probes_seen(sure=True) for _ in months_of(seen))
        with progress("Moving", total) as reach:
            moved = list(move_all(source, target, reach))
    if as_json:
        say_json([_shown(one) for one in moved])
    rows = sum(one.rows for one in moved)
    probes = len({one.month.seen.probe for one in moved})
    there = sum(one.was_there for one in moved)
    click.echo(
        f"{counted(rows, 'reading')} of {counted(probes, 'probe')} in {counted(len(moved), 'month')}"
        f" are in both stores and equal ({there} were there already).",
        err=True,
    )
    left = sum(one.hours_left for one in moved)
    if left:
        click.echo(
            f"{counted(left, 'hourly value')} without raw readings stay behind in InfluxDB.",
            err=True,
        )


def _ends(settings: Settings, where: str, stack: ExitStack) -> tuple[ReadingStore, Target]:
    """Open where they come from and where they go."""
    sqlite = stack.enter_context(closing(open_sqlite(settings)))
    if where == "influx":
        from underlid.storage.influx.target import InfluxTarget

        return sqlite, InfluxTarget(stack.enter_context(closing(influx_server(settings))))
    influx = stack.enter_context(closing(open_influx(settings)))
    return influx, SqliteTarget(sqlite, SystemClock().now_ms())


def _shown(one: Moved) -> dict[str, object]:
    return {
        "probe": one.month.seen.probe,
        "month": rfc3339(one.month.start_ms)[:7],
        "readings": one.rows,
        "checksum": one.checksum,
        "was_there": one.was_there,
        "hours_left": one.hours_left,
    }
