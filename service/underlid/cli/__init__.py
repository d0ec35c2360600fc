"""The command line: `underlid` and its commands, one file a group.

Every command exits with 0 when it did its work, 1 with one sentence on standard error when it could
not, 2 when it was called wrongly. What the commands do is elsewhere; here is only how they are asked.
"""

from __future__ import annotations

import click

from underlid.cli.alerts import alerts
from underlid.cli.backup import backup, restore
from underlid.cli.bins import bins
from underlid.cli.check import check
from underlid.cli.demo import demo
from underlid.cli.entries import entries
from underlid.cli.export import export
from underlid.cli.imports import import_
from underlid.cli.move_readings import move_readings
from underlid.cli.probes import probes
from underlid.cli.replay import replay
from underlid.cli.score import score
from underlid.cli.sentence import OneSentence
from underlid.cli.serve import serve
from underlid.cli.simulate import simulate
from underlid.cli.user import user
from underlid.cli.weather import weather


@click.group(cls=OneSentence, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="underlid")
def underlid() -> None:
    """Watch worm bins and say, in one sentence, what to do and how much.

    Example: underlid serve
    """


for command in (
    serve, demo, check, bins, probes, entries, alerts, user,
    weather, replay, simulate, score, import_, export, backup, restore, move_readings,
):  # fmt: skip
    underlid.add_command(command)
