"""`underlid weather`: the air outside a shed, measured or forecast, for what is foreseen inside."""

from __future__ import annotations

from pathlib import Path

import click

from underlid.cli.folder import data_option, records_in
from underlid.cli.sentence import counted
from underlid.clock import SystemClock
from underlid.files.weather_csv import read_weather


@click.command()
@click.argument("shed")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@data_option
def weather(shed: str, file: Path, data: Path | None) -> None:
    """Keep the weather in FILE (time,temp_c a row) as that outside SHED.

    Past hours teach how the shed follows the weather; hours ahead are then used to foresee its air.
    Send both, and send again whenever there is a newer forecast. The service may be running.

    Example: underlid weather potting forecast.csv
    """
    rows = read_weather(file, SystemClock().now_ms())
    with records_in(data) as records:
        new = records.save_weather(shed, rows)
    click.echo(f"Kept {counted(new, 'new row')} of {len(rows)} for the shed {shed}.")
