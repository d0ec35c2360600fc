"""`underlid demo`: the whole service with five invented bins that publish as real probes would."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Final

import click

from underlid.cli.demo_probes import DemoProbes
from underlid.cli.log import set_log_up
from underlid.cli.sentence import progress
from underlid.cli.serve import say_where
from underlid.clock import ScaledClock, SystemClock
from underlid.config import Settings, load
from underlid.service import ServiceInfo, run
from underlid.simulate import scenario
from underlid.simulate.place import SimulatedPlace
from underlid.storage.folder import prepare_folder
from underlid.storage.records import Records
from underlid.storage.records.accounts import Role
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

KEEPER: Final = "Ash"
PASSPHRASE: Final = "lift the lid"
"""Printed at the start: the demo holds nothing worth hiding, and its page is for this machine."""

EVERY_MS: Final = 2 * MINUTE_MS


@click.command()
@click.option(
    "--speed",
    type=click.FloatRange(1, 3600),
    default=600.0,
    help="Seconds of the bins in one of yours.",
)
@click.option(
    "--days", type=click.IntRange(0, 60), default=21, help="Days of history to start with."
)
@click.option("--seed", type=int, default=1, help="Another number, other weather and noise.")
@click.option("--web-port", type=click.IntRange(0, 65535), help="Port of the page; 0 picks one.")
@click.option(
    "--door-port",
    type=click.IntRange(0, 65535),
    default=0,
    help="Port of the MQTT door; 0 picks one.",
)
def demo(speed: float, days: int, seed: int, web_port: int | None, door_port: int) -> None:
    """Show the service with five living bins, in a folder that is thrown away afterwards.

    History first, then ten minutes of theirs in a second of yours: each kind of alert has its cause
    within 100 hours, ten minutes at the default speed. Nobody is told over e-mail or other channels.

    Example: underlid demo --speed 600 --days 21
    """
    with tempfile.TemporaryDirectory(prefix="underlid-demo-") as folder:
        settings = load(
            data=Path(folder),
            records_url="",
            readings_store="sqlite",
            role="all",
            web_port=web_port,
            door_host="127.0.0.1",
            door_port=door_port,
            broker_host="",
            smtp_url="",
            notify_urls=(),
            webhook_url="",
        )
        set_log_up(settings)
        opening_ms = SystemClock().now_ms() // MINUTE_MS * MINUTE_MS
        place = scenario.place(opening_ms, days, seed=seed, every_ms=EVERY_MS)
        write_history(settings, place, opening_ms)
        clock = ScaledClock(opening_ms, speed)
        probes = DemoProbes(place, clock)

        def ready(info: ServiceInfo) -> None:
            say_where(info)
            click.echo(f'Log in: {KEEPER}, passphrase "{PASSPHRASE}"')
            click.echo(f"Time:   {speed:g} times as fast as yours. Ctrl-C stops and throws away.")
            probes.start(info)

        try:
            run(settings, clock=clock, on_ready=ready)
        finally:
            probes.stop()


def write_history(settings: Settings, place: SimulatedPlace, until_ms: int) -> None:
    """Let *place* live until *until_ms* and store what its probes and keepers left."""
    prepare_folder(settings.data)
    records = Records.open(settings.records_address)
    store = SqliteReadings(settings.readings_path)
    try:
        records.add_person(KEEPER, Role.LEAD, PASSPHRASE)
        records.save_setup(place.setup)
        hours = (until_ms - place.now_ms) // HOUR_MS
        start_ms = place.now_ms
        with progress("Letting time pass", hours) as reach:
            while place.now_ms < until_ms:
                stretch = place.run(min(place.now_ms + DAY_MS, until_ms))
                store.write(stretch.readings)
                for entry in stretch.entries:
                    records.add_entry(entry)
                reach((place.now_ms - start_ms) // HOUR_MS)
    finally:
        store.close()
        records.close()
