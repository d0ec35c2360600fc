"""`underlid bins out` and `underlid bins back`: of which bins nobody is told for now."""

from __future__ import annotations

from pathlib import Path

import click

from underlid.cli.folder import data_option, records_in
from underlid.cli.sentence import MOMENT
from underlid.clock import SystemClock


@click.command(name="out")
@click.argument("bin_id", metavar="BIN")
@click.option("--until", type=MOMENT, help="Put back by itself then.")
@click.option("--why", default="", help="What is the matter, for others to read.")
@click.option("--by", default="", help="Who does it.")
@data_option
def take_out(bin_id: str, until: int | None, why: str, by: str, data: Path | None) -> None:
    """Take BIN out of service: it is judged as ever, but nobody is told of it.

    Example: underlid bins out tansy --why "emptied for the winter"
    """
    with records_in(data) as records:
        records.take_out(bin_id, until, by, why, SystemClock().now_ms())


@click.command(name="back")
@click.argument("bin_id", metavar="BIN")
@data_option
def put_back(bin_id: str, data: Path | None) -> None:
    """Put BIN back into service: of what is still open people are told now.

    Example: underlid bins back tansy
    """
    with records_in(data) as records:
        told = records.put_back(bin_id, SystemClock().now_ms())
    if told:
        click.echo(f"Messages about what is still open: {told}.")
