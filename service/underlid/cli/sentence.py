"""How commands speak: one sentence when something is wrong, tables for people, JSON for scripts."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import click

from underlid.errors import UnderlidError
from underlid.timeline import parse_time_ms


class OneSentence(click.Group):
    """A group of commands whose refusals go to standard error, with exit code 1."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; turn a refusal into its sentence."""
        try:
            return super().invoke(ctx)
        except UnderlidError as error:
            raise click.ClickException(str(error)) from None
        except BrokenPipeError:
            raise
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            raise click.ClickException(f"{where}{error.strerror or error}.") from None


class Moment(click.ParamType[int]):
    """A time on the command line: RFC 3339 with an offset, or epoch seconds."""

    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Return milliseconds since 1970."""
        if isinstance(value, int):
            return value
        try:
            return parse_time_ms(str(value))
        except (ValueError, OverflowError):
            self.fail(f"{value!r} is not a time such as 2026-05-01T18:30:00Z.", param, ctx)


MOMENT = Moment()

json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON, for scripts.")


def counted(count: int, one: str, many: str = "") -> str:
    """Return a number with its noun.

    >>> counted(1, "bin"), counted(2, "bin"), counted(0, "entry", "entries")
    ('1 bin', '2 bins', '0 entries')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"


def say_json(value: object) -> None:
    """Print *value* as JSON."""
    click.echo(json.dumps(value, indent=1, ensure_ascii=False))


def say_table(rows: Sequence[Sequence[object]], *header: str) -> None:
    """Print *rows* below *header*, in columns as wide as they need."""
    table = [list(header), *[[_cell(value) for value in row] for row in rows]]
    widths = [max(len(row[at]) for row in table) for at in range(len(header))]
    for row in table:
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        click.echo("  ".join(cells).rstrip())


def _cell(value: object) -> str:
    if value is None:
        return "–"
    return f"{value:g}" if isinstance(value, float) else str(value)


@contextmanager
def progress(label: str, length: int) -> Iterator[Callable[[int], None]]:
    """Give a function that moves a bar to a place, shown only on a terminal."""
    done = 0
    with click.progressbar(
        length=max(length, 1), label=label, file=sys.stderr, hidden=not sys.stderr.isatty()
    ) as bar:

        def reach(place: int) -> None:
            nonlocal done
            if place - done >= max(length // 200, 1):
                bar.update(min(place, length) - done)
                done = place

        yield reach
