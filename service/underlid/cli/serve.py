"""`underlid serve`: the whole service in this process, or one worker's part of it."""

from __future__ import annotations

import socket
from pathlib import Path
from typing import Final

import click

from underlid.cli.folder import data_option
from underlid.cli.log import set_log_up
from underlid.config import load
from underlid.files.setup import read_setup
from underlid.service import ServiceInfo, run
from underlid.storage.folder import prepare_folder
from underlid.storage.records import Records

EVERY_INTERFACE: Final = ("0.0.0.0", "::", "[::]")
"""Hosts one can listen on, but not go to."""


@click.command()
@data_option
@click.option(
    "--role",
    type=click.Choice(["all", "ingest", "judge", "web"]),
    help="What this process does, where several share PostgreSQL and InfluxDB; otherwise all.",
)
@click.option("--web-host", help="Address the page listens on.")
@click.option("--web-port", type=click.IntRange(0, 65535), help="Port of the page; 0 picks one.")
@click.option("--door-host", help="Address the MQTT door listens on.")
@click.option("--door-port", type=click.IntRange(0, 65535), help="Port of the door; 0 picks one.")
@click.option(
    "--setup",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Load sheds, bins and probes from this file first (see the files page).",
)
def serve(
    data: Path | None,
    role: str | None,
    web_host: str | None,
    web_port: int | None,
    door_host: str | None,
    door_port: int | None,
    setup: Path | None,
) -> None:
    """Run the service until it is stopped with Ctrl-C or SIGTERM.

    Everything has a default; options here win over environment and settings file.

    Example: underlid serve --setup shed.toml
    """
    settings = load(
        data=data,
        role=role,
        web_host=web_host,
        web_port=web_port,
        door_host=door_host,
        door_port=door_port,
    )
    set_log_up(settings)
    if setup is not None:
        wanted = read_setup(setup)
        prepare_folder(settings.data)
        records = Records.open(settings.records_address)
        records.save_setup(wanted)
        records.close()
    run(settings, on_ready=say_where)


def say_where(info: ServiceInfo) -> None:
    """Print where things are and how to get in."""
    if info.pages:
        click.echo(f"Page:   {reachable(info.web_url)}")
    else:
        click.echo(f"Health: {reachable(info.web_url)}/healthz")
    if info.door_port is not None:
        click.echo(f"Door:   {reachable(f'mqtt://{info.door_host}:{info.door_port}')}")
    if info.door_tls_port is not None:
        click.echo(f"Door:   {reachable(f'mqtts://{info.door_host}:{info.door_tls_port}')}")
    if info.door_port is not None or info.door_tls_port is not None:
        click.echo(f"Probes: user {info.door_user}, password {info.door_password}")
    click.echo(f"Data:   {info.data}")
    if info.start_key:
        click.echo(f"Key:    {info.start_key} (the page asks for it once, at the first start)")
    if info.first_start:
        click.echo("Open the page to choose a name and a passphrase, then add a shed and a bin.")


def reachable(url: str) -> str:
    """Return *url* as others can type it: with this machine's name where it says every interface.

    >>> reachable("http://127.0.0.1:8080"), reachable("http://::1:8080")
    ('http://127.0.0.1:8080', 'http://[::1]:8080')
    """
    scheme, _, place = url.partition("://")
    host, _, port = place.rpartition(":")
    if not port.isdigit():
        return url
    if host in EVERY_INTERFACE:
        host = socket.gethostname()
    elif ":" in host and not host.startswith("["):
        host = f"[{host}]"
    return f"{scheme}://{host}:{port}"
