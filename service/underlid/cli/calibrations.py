"""`underlid probes calibrate`, `sample`, `calibrations`, `uncalibrate`: what puts values right."""

from __future__ import annotations

from pathlib import Path

import click

from underlid.binmodel.bins import ProbePlace
from underlid.binmodel.probes.recalibrate import (
    by_readings,
    mark_of,
    with_calibration,
    with_sample,
    without,
)
from underlid.cli.folder import data_option, records_in
from underlid.cli.sentence import MOMENT, json_option, say_json, say_table
from underlid.errors import UnderlidError
from underlid.files.setup import calibration_table
from underlid.storage.records import Records


@click.command(name="calibrations")
@click.argument("probe")
@json_option
@data_option
def list_calibrations(probe: str, as_json: bool, data: Path | None) -> None:
    """List the calibrations and weighed samples of PROBE.

    Example: underlid probes calibrations tansy-1
    """
    with records_in(data) as records:
        place = _place(records, probe)
    found = [{"mark": mark_of(one)} | calibration_table(one) for one in place.calibrations]
    samples: list[dict[str, object]] = [
        {"mark": mark_of(one), "soil_index": one[0], "moisture_pct": one[1]}
        for one in place.soil_points
    ]
    if as_json:
        say_json({"calibrations": found, "samples": samples})
        return
    rows = [
        (one["mark"], one["channel"], f"{one['gain']:g} · raw + {one['offset']:g}",
         one["from"] or "always", one["how"])
        for one in found
    ]  # fmt: skip
    rows += [
        (one["mark"], "soil_index", f"{one['soil_index']:g} is {one['moisture_pct']:g} %", "always",
         "weighed sample")
        for one in samples
    ]  # fmt: skip
    say_table(rows, "mark", "channel", "calibrated", "from", "how")


@click.command(name="calibrate")
@click.argument("probe")
@click.argument("channel")
@click.option("--salt", type=(str, float), multiple=True, help="A salt and what it read; twice.")
@click.option("--ice", type=float, help="What it read in melting ice, °C.")
@click.option("--reference", type=(float, float), help="What it read, and what was true.")
@click.option(
    "--since", type=MOMENT, default=0, help="Counts from then; otherwise for all the past."
)
@data_option
def calibrate(
    probe: str,
    channel: str,
    salt: tuple[tuple[str, float], ...],
    ice: float | None,
    reference: tuple[float, float] | None,
    since: int,
    data: Path | None,
) -> None:
    """Calibrate CHANNEL of PROBE by what it read: over two salts, in ice, or beside a reference.

    Example: underlid probes calibrate tansy-1 headspace_rh_pct --salt NaCl 73.0 --salt KCl 82.1
    """
    made = by_readings(channel, dict(salt) if salt else None, ice, reference, since)
    with records_in(data) as records:
        records.place_probe(with_calibration(_place(records, probe), made))
    click.echo(f"{channel} of {probe} is now {made.gain:g} · raw + {made.offset:g}.")


@click.command(name="sample")
@click.argument("probe")
@click.argument("moisture_pct", type=float)
@click.option("--index", type=float, help="The soil index that it said then.")
@click.option("--raw", type=float, help="The counts that it said then.")
@data_option
def weigh(
    probe: str, moisture_pct: float, index: float | None, raw: float | None, data: Path | None
) -> None:
    """Add a weighed sample of MOISTURE_PCT, wet basis, to those that make the line of PROBE.

    Example: underlid probes sample tansy-1 77.0 --raw 1843
    """
    if (index is None) == (raw is None):
        raise click.UsageError("Give --index or --raw.")
    with records_in(data) as records:
        place = with_sample(_place(records, probe), moisture_pct, index=index, raw=raw)
        records.place_probe(place)
    click.echo(f"{probe} has {len(place.soil_points)} weighed samples.")


@click.command(name="uncalibrate")
@click.argument("probe")
@click.argument("mark")
@data_option
def uncalibrate(probe: str, mark: str, data: Path | None) -> None:
    """Remove the calibration or weighed sample of PROBE with this MARK.

    Example: underlid probes uncalibrate tansy-1 5c0e4b1a
    """
    with records_in(data) as records:
        records.place_probe(without(_place(records, probe), mark))


def _place(records: Records, probe: str) -> ProbePlace:
    place = records.setup().probes.get(probe)
    if place is None:
        raise UnderlidError(
            "probe",
            value=probe,
            expected="a probe that has a place",
            next_step="List them with `underlid probes list`, and give it one.",
        )
    return place
