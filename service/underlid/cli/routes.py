"""`underlid user routes`, `route`, `unroute`: where people are told, from the command line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from underlid.alerts.route_check import checked
from underlid.alerts.routes import WAIT_MOST_MIN, Route, RouteRules
from underlid.cli.folder import data_option, records_in
from underlid.cli.sentence import json_option, say_json, say_table
from underlid.clock import SystemClock
from underlid.config import load
from underlid.errors import UnderlidError
from underlid.journal.units import UNITS
from underlid.notify.addresses import hint_of
from underlid.rules.finding import Priority
from underlid.storage.records import Records

LEAST = click.Choice([*(one.value for one in Priority), "none"])


@click.command(name="routes")
@click.argument("name", required=False)
@json_option
@data_option
def list_routes(name: str | None, as_json: bool, data: Path | None) -> None:
    """List people's addresses, or one person's, with what each is told; not the addresses themselves.

    Example: underlid user routes Ash
    """
    with records_in(data) as records:
        rows = [_row(one) for one in records.routes(name)]
    if as_json:
        say_json(rows)
        return
    columns = ("mark", "person", "label", "kind", "least", "of", "wait_min", "quiet")
    say_table([tuple(str(row[key]) for key in columns) for row in rows], *columns)


@click.command(name="route")
@click.argument("name")
@click.option("--change", "mark", help="Change the address with this mark, instead of adding one.")
@click.option("--address", help="Asked for, without showing it, when a new one is not given.")
@click.option("--label", help="What it is called, such as: phone.")
@click.option("--least", type=LEAST, help="Alerts from this priority on; none for no alerts.")
@click.option("--shed", "sheds", multiple=True, help="Only this shed; may be given again.")
@click.option("--bin", "bins", multiple=True, help="Only this bin; may be given again.")
@click.option("--everywhere", is_flag=True, help="Of all sheds and bins again.")
@click.option("--quiet", help="Own quiet hours, such as 22:00-07:00; empty for those of all.")
@click.option(
    "--wait-min",
    type=click.IntRange(0, WAIT_MOST_MIN),
    help="Tell only what nobody has acknowledged for so many minutes; 0 for at once.",
)
@click.option(
    "--digest-hour", type=click.IntRange(-1, 23), help="Hour of the daily digest; -1: none."
)
@click.option(
    "--digest-always/--digest-when-needed", default=None, help="Also with nothing to say."
)
@click.option("--units", type=click.Choice(["", *UNITS]), help="si, us, or '' for the setting's.")
@data_option
def keep_route(
    name: str,
    mark: str | None,
    address: str | None,
    label: str | None,
    sheds: tuple[str, ...],
    bins: tuple[str, ...],
    data: Path | None,
    **asked: object,
) -> None:
    """Add an address of somebody, or change what one is told; what is not given stays.

    Example: underlid user route Ash --label phone --least high
    """
    settings = load(data=data)
    now_ms = SystemClock().now_ms()
    with records_in(data) as records:
        old = _theirs(records, name, mark) if mark else None
        rules = _rules(records, old.rules if old else RouteRules(), sheds, bins, asked)
        if address is None and old is None:
            address = str(click.prompt("Address", hide_input=True))
        hint = hint_of(address, settings) if address else ""
        given = (address or "").strip()
        if old is not None:
            kept = old.label if label is None else label
            records.change_route(old.id, kept, rules, now_ms, given, hint)
        else:
            made = records.add_route(name, given, hint, label or "", rules, now_ms)
            click.echo(made.id)


@click.command(name="unroute")
@click.argument("mark")
@data_option
def remove_route(mark: str, data: Path | None) -> None:
    """Forget the address with this mark; what still waits for it is not sent.

    Example: underlid user unroute 3fa2c1d0
    """
    with records_in(data) as records:
        records.remove_route(records.route(mark).id)


def _theirs(records: Records, name: str, mark: str) -> Route:
    route = records.route(mark)
    if route.person != name:
        raise UnderlidError(
            "address",
            value=mark,
            expected=f"the mark of an address of {name}",
            next_step="List them with: underlid user routes.",
        )
    return route


def _rules(
    records: Records,
    rules: RouteRules,
    sheds: tuple[str, ...],
    bins: tuple[str, ...],
    asked: dict[str, object],
) -> RouteRules:
    """Return the rules with what was asked for in them."""
    if sheds or bins or asked["everywhere"]:
        rules = replace(rules, sheds=sheds, bins=bins)
    if (least := asked["least"]) is not None:
        rules = replace(rules, least=None if least == "none" else Priority(str(least)))
    if (quiet := asked["quiet"]) is not None:
        rules = replace(rules, quiet=str(quiet))
    if (wait := asked["wait_min"]) is not None:
        rules = replace(rules, unacknowledged_min=int(str(wait)))
    if (hour := asked["digest_hour"]) is not None:
        rules = replace(rules, digest_hour=None if hour == -1 else int(str(hour)))
    if (always := asked["digest_always"]) is not None:
        rules = replace(rules, digest_always=bool(always))
    if (units := asked["units"]) is not None:
        rules = replace(rules, units=str(units))
    checked(replace(rules, sheds=sheds, bins=bins), records.setup())  # what was given before stays
    return rules


def _row(route: Route) -> dict[str, object]:
    rules = route.rules
    return {
        "mark": route.id,
        "person": route.person,
        "label": route.label,
        "kind": route.hint,
        "least": rules.least.value if rules.least else "none",
        "of": ", ".join((*rules.sheds, *rules.bins)) or "all",
        "wait_min": rules.unacknowledged_min,
        "quiet": rules.quiet,
        "digest_hour": rules.digest_hour,
        "digest_always": rules.digest_always,
        "units": rules.units,
    }
