"""A file that a command writes: what lies there already is not lost by a slip.

Commands that write a whole folder (`simulate`) look after it themselves.
"""

from __future__ import annotations

from pathlib import Path

import click

from underlid.errors import UnderlidError

replace_option = click.option("--replace", is_flag=True, help="Write over FILE if it is there.")


def require_free(file: Path, replace: bool) -> None:
    """Refuse a file that exists, unless it may be replaced; standard output and devices do."""
    if file.is_file() and not replace:
        raise UnderlidError(
            "file",
            value=str(file),
            expected="one that does not exist yet",
            next_step="Choose another name, or write over it with --replace.",
        )
