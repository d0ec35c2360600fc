"""`underlid bins show`: one bin as a judge sees it now, from what is stored; nothing is written."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import click

from underlid.cli.folder import data_option, readings_in, records_in
from underlid.cli.sentence import json_option, say_json, say_table
from underlid.clock import SystemClock
from underlid.config import load
from underlid.errors import UnderlidError
from underlid.judge import Judge
from underlid.workers.restart import fill, part_of, set_entries

DOUBT: Final = ("probe", "channel", "cause", "since", "until")


@click.command(name="show")
@click.argument("bin_id", metavar="ID")
@json_option
@data_option
def show_bin(bin_id: str, as_json: bool, data: Path | None) -> None:
    """Show a bin's present values, its verdicts, and what it has taught.

    Example: underlid bins show tansy
    """
    state = _state(bin_id, data)
    if as_json:
        say_json(state)
        return
    click.echo(f"{state['name']}, judged at {state['judged_at']}")
    click.echo()
    say_table(list(state["now"].items()), "now", "value")
    click.echo()
    verdicts = [
        (" ".join([one["condition"], one["subject"]]).strip(), one["verdict"], one["reason"])
        for one in state["verdicts"]
    ]
    say_table(verdicts, "looked for", "verdict", "reason")
    if doubts := state["distrusted"]:
        click.echo()
        rows = [[one[name] or "" for name in DOUBT] for one in doubts]
        say_table(rows, "not believed", *DOUBT[1:])
    click.echo()
    lessons: dict[str, dict[str, Any]] = state["lessons"]
    taught = [
        (name, one["value"], one["sd"], one["unit"], one["count"]) for name, one in lessons.items()
    ]
    say_table(taught, "taught", "value", "\u00b1", "unit", "from")
    click.echo()
    for one in lessons.values():
        click.echo(one["text"])


def _state(bin_id: str, data: Path | None) -> dict[str, Any]:
    """Judge the bin's shed once, as the service would when it starts now."""
    now_ms = SystemClock().now_ms()
    with records_in(data) as records, readings_in(load(data=data)) as readings:
        setup = records.setup()
        if bin_id not in setup.bins:
            raise UnderlidError(
                "bin",
                value=bin_id,
                expected="a bin that is set up",
                next_step="List them with `underlid bins list`.",
            )
        place = part_of(setup, {setup.bins[bin_id].shed})
        judge = Judge(place, now_ms)
        fill(judge, readings, list(place.probes), now_ms)
        set_entries(judge, records, readings, place, now_ms)
        judge.judge(now_ms)
    state: dict[str, Any] | None = judge.state(bin_id)
    assert state is not None, "a bin is judged at once when its judge is new"
    return state
