"""`underlid probes`: what has been heard of, where each sits, and passwords of their own."""

from __future__ import annotations

from pathlib import Path

import click

from underlid.binmodel.bins import ProbePlace
from underlid.cli.calibrations import calibrate, list_calibrations, uncalibrate, weigh
from underlid.cli.folder import data_option, readings_in, records_in
from underlid.cli.sentence import json_option, say_json, say_table
from underlid.config import load
from underlid.errors import UnderlidError
from underlid.timeline import rfc3339

VALUES_SHOWN = 4


@click.group()
def probes() -> None:
    """List probes, calibrate them, give them a place or a password.

    Example: underlid probes list
    """


@probes.command(name="list")
@json_option
@data_option
def list_probes(as_json: bool, data: Path | None) -> None:
    """List every probe that has a place or has ever been heard of.

    Example: underlid probes list --json
    """
    with records_in(data) as records, readings_in(load(data=data)) as store:
        places = records.setup().probes
        statuses = records.probe_statuses()
        seen = {one.probe: one for one in store.probes_seen(sure=True)}
    found: list[dict[str, object]] = []
    for name in sorted(places.keys() | seen.keys()):
        place, heard, status = places.get(name), seen.get(name), statuses.get(name)
        found.append(
            {
                "probe": name,
                "claimed": place is not None,
                "shed": place.shed if place else heard.shed if heard else None,
                "bin": place.bin if place else None,
                "depth_cm": place.depth_cm if place else None,
                "online": status.online if status else None,
                "last": rfc3339(heard.last_taken_at_ms) if heard else None,
                "values": heard.last_values if heard else {},
            }
        )
    if as_json:
        say_json(found)
        return
    say_table(
        [
            (
                one["probe"],
                one["shed"],
                (one["bin"] or "shed air") if one["claimed"] else "unclaimed",
                one["last"] or "never",
                _some(one["values"]),
            )
            for one in found
        ],
        "probe",
        "shed",
        "place",
        "last reading",
        "values",
    )


@probes.command(name="place")
@click.argument("probe")
@click.option("--bin", "bin_id", help="The bin it sits in.")
@click.option("--shed", help="The shed whose air it measures.")
@click.option("--depth-cm", type=click.FloatRange(0, 300), help="Depth in the bed.")
@click.option("--soil-dry-raw", type=float, help="Soil counts in air.")
@click.option("--soil-wet-raw", type=float, help="Soil counts in water.")
@data_option
def place_probe(
    probe: str,
    bin_id: str | None,
    shed: str | None,
    depth_cm: float | None,
    soil_dry_raw: float | None,
    soil_wet_raw: float | None,
    data: Path | None,
) -> None:
    """Say where PROBE sits: in a bin, or in the air of a shed. What is not given stays.

    Example: underlid probes place tansy-1 --bin tansy --soil-dry-raw 2750 --soil-wet-raw 1150
    """
    if (bin_id is None) == (shed is None):
        raise click.UsageError("Give --bin, or --shed for shed air.")
    with records_in(data) as records:
        setup = records.setup()
        if bin_id is not None:
            if bin_id not in setup.bins:
                raise UnderlidError(
                    "bin",
                    value=bin_id,
                    expected="a bin that is set up",
                    next_step="List them with `underlid bins list`.",
                )
            shed = setup.bins[bin_id].shed
        before = setup.probes.get(probe)
        kept = before or ProbePlace(probe, shed or "", bin_id)
        records.place_probe(
            ProbePlace(
                probe,
                shed or "",
                bin_id,
                kept.depth_cm if depth_cm is None else depth_cm,
                kept.soil_dry_raw if soil_dry_raw is None else soil_dry_raw,
                kept.soil_wet_raw if soil_wet_raw is None else soil_wet_raw,
                kept.soil_points,
                kept.calibrations,
            )
        )


@probes.command(name="unplace")
@click.argument("probe")
@data_option
def unplace_probe(probe: str, data: Path | None) -> None:
    """Make PROBE unclaimed again; its readings stay.

    Example: underlid probes unplace tansy-1
    """
    with records_in(data) as records:
        if probe not in records.setup().probes:
            raise UnderlidError(
                "probe",
                value=probe,
                expected="a probe that has a place",
                next_step="List them with `underlid probes list`.",
            )
        records.unplace_probe(probe)


@probes.command(name="password")
@click.argument("probe")
@click.option("--end", is_flag=True, help="End the one it has: it was lost or given away.")
@data_option
def make_password(probe: str, end: bool, data: Path | None) -> None:
    """Make and print a password for PROBE alone; its user name at the door is its id.

    Example: underlid probes password tansy-1
    """
    with records_in(data) as records:
        if not end:
            click.echo(records.make_probe_secret(probe))
        elif not records.end_probe_secret(probe):
            raise UnderlidError(
                "probe",
                value=probe,
                expected="a probe with a password of its own",
                next_step="Without one it comes in with the household's, which is in door-users.txt.",
            )


for command in (list_calibrations, calibrate, weigh, uncalibrate):
    probes.add_command(command)


def _some(values: object) -> str:
    """Return a few values on one line."""
    if not isinstance(values, dict):
        return ""
    shown = [f"{name} {value:g}" for name, value in list(values.items())[:VALUES_SHOWN]]
    return ", ".join(shown)
