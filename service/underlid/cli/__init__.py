"""The command line: `underlid` and its commands, one file a group.

Every command exits with 0 when it did its work, 1 with one sentence on standard error when it could
not, 2 when it was called wrongly. What the commands do is elsewhere; here is only how they are asked.
A command's file is read when the command is: the whole service takes a small computer seconds to read.
"""

from __future__ import annotations

from importlib import import_module
from typing import Final

import click

from underlid.cli.sentence import OneSentence

PLACES: Final = {
    "serve": "serve", "demo": "demo", "check": "check", "bins": "bins", "probes": "probes",
    "mappings": "mappings", "entries": "entries", "alerts": "alerts", "user": "user", "weather": "weather",
    "replay": "replay", "simulate": "simulate", "score": "score", "import": "imports",
    "export": "export", "backup": "backup", "restore": "backup", "move-readings": "move_readings",
    "move-records": "move_records",
}  # fmt: skip
"""Command -> its file."""

NAMES: Final = {
    "import": "import_",
    "move-readings": "move_readings",
    "move-records": "move_records",
}
"""What Python cannot call like the command."""


class OnDemand(OneSentence):
    """Finds a command in its file when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands."""
        del ctx
        return sorted(PLACES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, None when there is none of that name."""
        del ctx
        if cmd_name in PLACES and cmd_name not in self.commands:
            module = import_module(f"underlid.cli.{PLACES[cmd_name]}")
            self.add_command(getattr(module, NAMES.get(cmd_name, cmd_name)))
        return self.commands.get(cmd_name)


@click.group(cls=OnDemand, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="underlid")
def underlid() -> None:
    """Watch worm bins and say, in one sentence, what to do and how much.

    Example: underlid serve
    """
