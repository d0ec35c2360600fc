"""`underlid user`: people who may log in, and tokens for programs; `routes.py` has their addresses."""

from __future__ import annotations

from pathlib import Path

import click

from underlid.cli.folder import data_option, records_in
from underlid.cli.routes import keep_route, list_routes, remove_route
from underlid.cli.sentence import json_option, say_json, say_table
from underlid.storage.records.accounts import Role

ROLE = click.Choice([role.value for role in Role])

passphrase_option = click.option(
    "--passphrase",
    envvar="UNDERLID_PASSPHRASE",
    prompt=True,
    hide_input=True,
    confirmation_prompt=True,
    help="Asked for when neither given nor in UNDERLID_PASSPHRASE.",
)


@click.group()
def user() -> None:
    """Add people, set passphrases, make tokens for programs.

    Example: underlid user add Ash
    """


@user.command(name="list")
@json_option
@data_option
def list_people(as_json: bool, data: Path | None) -> None:
    """List people and tokens with what they may do.

    Example: underlid user list
    """
    with records_in(data) as records:
        found = [("person", person.name, person.role.value) for person in records.people()]
        found += [("token", label, role.value) for label, role in records.tokens().items()]
    if as_json:
        say_json([{"sort": sort, "name": name, "role": role} for sort, name, role in found])
        return
    say_table(found, "sort", "name", "role")


@user.command(name="add")
@click.argument("name")
@click.option("--role", type=ROLE, default=Role.KEEPER.value, help="What they may do.")
@passphrase_option
@data_option
def add_person(name: str, role: str, passphrase: str, data: Path | None) -> None:
    """Add somebody who may log in.

    Example: underlid user add Ash --role keeper
    """
    with records_in(data) as records:
        records.add_person(name, role, passphrase)


@user.command(name="passphrase")
@click.argument("name")
@passphrase_option
@data_option
def set_passphrase(name: str, passphrase: str, data: Path | None) -> None:
    """Set somebody's passphrase; they are logged out everywhere.

    Example: underlid user passphrase Ash
    """
    with records_in(data) as records:
        records.set_passphrase(name, passphrase)


@user.command(name="token")
@click.argument("label")
@click.option("--role", type=ROLE, default=Role.READER.value, help="What the program may do.")
@data_option
def make_token(label: str, role: str, data: Path | None) -> None:
    """Make a token for a program and print it, this once; the label's old token ends.

    Example: underlid user token kitchen-scale --role keeper
    """
    with records_in(data) as records:
        click.echo(records.make_token(label, role))


@user.command(name="remove")
@click.argument("name")
@click.option("--token", is_flag=True, help="NAME is the label of a token.")
@data_option
def remove(name: str, token: bool, data: Path | None) -> None:
    """Remove somebody, or a token.

    Example: underlid user remove kitchen-scale --token
    """
    with records_in(data) as records:
        if token:
            records.remove_token(name)
        else:
            records.remove_person(name)


for command in (list_routes, keep_route, remove_route):
    user.add_command(command)
