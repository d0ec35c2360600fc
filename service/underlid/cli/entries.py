"""`underlid entries`: the journal from the command line."""

from __future__ import annotations

from pathlib import Path
from uuid import uuid4

import click

from underlid.cli.folder import data_option, records_in
from underlid.cli.sentence import MOMENT, json_option, say_json, say_table
from underlid.clock import SystemClock
from underlid.journal.entries import KINDS, Entry
from underlid.journal.parse import entry_from_fields, fields_from_entry
from underlid.journal.summary import summary
from underlid.timeline import rfc3339


@click.group()
def entries() -> None:
    """List, add, correct and withdraw journal entries.

    Example: underlid entries list --bin tansy
    """


@entries.command(name="list")
@click.option("--bin", "bin_id", help="Only this bin.")
@click.option("--from", "from_ms", type=MOMENT, help="First time.")
@click.option("--until", "until_ms", type=MOMENT, help="First time not taken any more.")
@click.option("--most", type=click.IntRange(1, 10_000), default=50, help="At most so many.")
@click.option("--withdrawn", is_flag=True, help="Withdrawn ones too.")
@json_option
@data_option
def list_entries(
    bin_id: str | None,
    from_ms: int | None,
    until_ms: int | None,
    most: int,
    withdrawn: bool,
    as_json: bool,
    data: Path | None,
) -> None:
    """List entries, newest first.

    Example: underlid entries list --bin tansy --most 10 --json
    """
    with records_in(data) as records:
        found = records.entries(bin_id, from_ms, until_ms, withdrawn=withdrawn, most=most)
        photos = records.photos_of([one.id for one in found])
    counts = {one.id: len(photos.get(one.id, ())) for one in found}
    if as_json:
        say_json([{**_as_json(entry), "photos": counts[entry.id]} for entry in found])
        return
    say_table(
        [
            (one.id, rfc3339(one.at_ms), one.bin, _line(one), one.by, str(counts[one.id] or ""))
            for one in found
        ],
        "id",
        "time",
        "bin",
        "entry",
        "by",
        "photos",
    )


@entries.command(name="add")
@click.argument("bin_id", metavar="BIN")
@click.argument("kind", type=click.Choice(list(KINDS)))
@click.argument("fields", nargs=-1, metavar="[FIELD=VALUE]...")
@click.option("--by", default="", help="Who did it.")
@data_option
def add_entry(bin_id: str, kind: str, fields: tuple[str, ...], by: str, data: Path | None) -> None:
    """Add an entry to BIN's journal; fields as on the journal page. Prints the entry's id.

    Example: underlid entries add tansy feed ingredient=melon mass_g=1800 drained_g=300 --by Ash
    """
    entry = entry_from_fields(
        {"bin": bin_id, "kind": kind, **_fields(fields)},
        known_at_ms=SystemClock().now_ms(),
        by=by,
        new_id=uuid4().hex,
    )
    with records_in(data) as records:
        click.echo(records.add_entry(entry).id)


@entries.command(name="correct")
@click.argument("entry_id", metavar="ID")
@click.argument("fields", nargs=-1, required=True, metavar="FIELD=VALUE...")
@click.option("--by", default="", help="Who corrects it.")
@data_option
def correct_entry(entry_id: str, fields: tuple[str, ...], by: str, data: Path | None) -> None:
    """Correct fields of an entry; the earlier version is kept. An empty value takes a field away.

    Example: underlid entries correct 3f2a… ingredient=melon mass_g=1500
    """
    with records_in(data) as records:
        history = records.entry_history(entry_id)
        before = dict(fields_from_entry(history[-1])) if history else {"bin": "", "kind": "note"}
        given = _fields(fields)
        if "ingredient" in given or "mass_g" in given:
            before.pop("mass_g", None)
        entry = entry_from_fields(
            {**before, **given}, known_at_ms=SystemClock().now_ms(), by=by, new_id=entry_id
        )
        records.correct_entry(entry)


@entries.command(name="withdraw")
@click.argument("entry_id", metavar="ID")
@click.option("--by", default="", help="Who withdraws it.")
@data_option
def withdraw_entry(entry_id: str, by: str, data: Path | None) -> None:
    """Withdraw an entry: it counts no more, its history is kept.

    Example: underlid entries withdraw 3f2a…
    """
    with records_in(data) as records:
        records.withdraw_entry(entry_id, by, SystemClock().now_ms())


@entries.command(name="history")
@click.argument("entry_id", metavar="ID")
@data_option
def entry_history(entry_id: str, data: Path | None) -> None:
    """Print every version of an entry as JSON, first to newest.

    Example: underlid entries history 3f2a…
    """
    with records_in(data) as records:
        say_json([_as_json(entry) for entry in records.entry_history(entry_id)])


def _line(entry: Entry) -> str:
    """Return an entry in a few words, its text among them."""
    if not entry.text:
        return summary(entry)
    return entry.text if entry.kind == "note" else f"{summary(entry)}: {entry.text}"


def _as_json(entry: Entry) -> dict[str, object]:
    return {
        "id": entry.id,
        "version": entry.version,
        "withdrawn": entry.withdrawn,
        **fields_from_entry(entry),
    }


def _fields(words: tuple[str, ...]) -> dict[str, str]:
    """Return FIELD=VALUE words as fields."""
    fields = {}
    for word in words:
        name, equals, value = word.partition("=")
        if not equals or not name:
            raise click.BadParameter(f"{word!r} is not FIELD=VALUE.", param_hint="FIELD=VALUE")
        fields[name] = value
    return fields
