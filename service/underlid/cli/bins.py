"""`underlid bins`: the sheds and bins of the place."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from underlid.binmodel.bins import Bin, BinKind, Shed, Species
from underlid.binmodel.herd import limits_of
from underlid.cli.bin_show import show_bin
from underlid.cli.folder import data_option, records_in
from underlid.cli.out_of_service import put_back, take_out
from underlid.cli.sentence import json_option, say_json, say_table
from underlid.clock import SystemClock
from underlid.errors import UnderlidError

KINDS = click.Choice([kind.value for kind in BinKind])
SPECIES = click.Choice([species.value for species in Species])


@click.group()
def bins() -> None:
    """List and change sheds and bins.

    Example: underlid bins list
    """


bins.add_command(show_bin)
bins.add_command(take_out)
bins.add_command(put_back)


@bins.command(name="list")
@json_option
@data_option
def list_bins(as_json: bool, data: Path | None) -> None:
    """List bins with their make and herd.

    Example: underlid bins list --json
    """
    with records_in(data) as records:
        setup, outs = records.setup(), records.out_of_service()
        open_alerts = {bin_id: records.open_alerts(bin_id) for bin_id in setup.bins}
    if as_json:
        say_json(
            [
                {
                    "id": one.id,
                    "shed": one.shed,
                    "name": one.name,
                    "kind": one.kind.value,
                    "species": [species.value for species in one.species],
                    "herd_kg": one.herd_kg,
                    "volume_l": one.volume_l,
                    "bed_kg": one.bed_kg,
                    "dry_density_kg_l": one.dry_density_kg_l,
                    "lid_area_m2": one.lid_area_m2,
                    "target_moisture_pct": one.target_moisture_pct,
                    "bedding": one.bedding,
                    "limits": one.limits,
                    "probes": [p.probe for p in setup.probes.values() if p.bin == one.id],
                    "out_of_service": one.id in outs,
                }
                for one in setup.bins.values()
            ]
        )
        return
    rows = [
        (
            one.id,
            one.name,
            one.shed,
            one.kind.value,
            "+".join(species.value for species in one.species),
            one.herd_kg,
            one.bed_kg,
            ",".join(p.probe for p in setup.probes.values() if p.bin == one.id) or "none",
            "out of service"
            if one.id in outs
            else len([a for a in open_alerts[one.id] if a.raised_at_ms is not None]),
        )
        for one in setup.bins.values()
    ]
    say_table(
        rows, "bin", "name", "shed", "kind", "species", "herd kg", "bed kg", "probes", "alerts"
    )


@bins.command(name="shed")
@click.argument("shed_id", metavar="ID")
@click.option("--name", help="What people call it.")
@click.option("--air-probe", help="The probe that measures the air around the bins.")
@click.option("--timezone", help="Such as Europe/London.")
@data_option
def save_shed(
    shed_id: str, name: str | None, air_probe: str | None, timezone: str | None, data: Path | None
) -> None:
    """Add or change a shed.

    Example: underlid bins shed potting --name "Potting shed" --air-probe potting-air
    """
    with records_in(data) as records:
        before = records.setup().sheds.get(shed_id, Shed(shed_id))
        given = {"name": name, "air_probe": air_probe, "timezone": timezone}
        records.save_shed(replace(before, **{k: v for k, v in given.items() if v is not None}))


@bins.command(name="save")
@click.argument("bin_id", metavar="ID")
@click.option("--shed", help="The shed it stands in; needed for a new bin.")
@click.option("--name", help="What people call it.")
@click.option("--kind", type=KINDS, help="How it is built.")
@click.option("--species", type=SPECIES, multiple=True, help="Its worms; may be repeated.")
@click.option("--herd-kg", type=click.FloatRange(0), help="Worms, kg.")
@click.option("--volume-l", type=click.FloatRange(0, min_open=True), help="Volume, litres.")
@click.option("--bed-kg", type=click.FloatRange(0, min_open=True), help="Bed as it is, kg.")
@click.option("--target-moisture-pct", type=click.FloatRange(40, 95), help="Wet basis.")
@click.option("--bedding", help="The bedding at hand, such as newspaper.")
@click.option("--limit", "limits", multiple=True, metavar="KEY=VALUE", help="A limit of its own.")
@data_option
def save_bin(bin_id: str, shed: str | None, data: Path | None, **given: object) -> None:
    """Add a bin, or change what is given of one.

    Example: underlid bins save tansy --shed potting --kind flow-through-bag --herd-kg 1.2
    """
    with records_in(data) as records:
        before = records.setup().bins.get(bin_id)
        if before is None:
            if shed is None:
                raise UnderlidError(
                    "bin",
                    value=bin_id,
                    expected="a bin that is set up, or --shed for a new one",
                    next_step="Correct the id, or say where the new bin stands.",
                )
            before = Bin(bin_id, shed)
        changes = _changes(given, before)
        if shed is not None:
            changes["shed"] = shed
        after = replace(before, **changes)  # type: ignore[arg-type]  # names are Bin's own
        limits_of(after)
        records.save_bin(after)


@bins.command(name="remove")
@click.argument("bin_id", metavar="ID")
@data_option
def remove_bin(bin_id: str, data: Path | None) -> None:
    """Remove a bin; its probes become unclaimed, its journal and readings stay.

    Example: underlid bins remove quince
    """
    with records_in(data) as records:
        if bin_id not in records.setup().bins:
            raise UnderlidError(
                "bin",
                value=bin_id,
                expected="a bin that is set up",
                next_step="List them with `underlid bins list`.",
            )
        records.remove_bin(bin_id, SystemClock().now_ms())


def _changes(given: dict[str, object], before: Bin) -> dict[str, object]:
    """Return the given options as fields of a bin."""
    changes = {name: value for name, value in given.items() if value not in (None, ())}
    if "kind" in changes:
        changes["kind"] = BinKind(str(changes["kind"]))
    if "species" in changes:
        words = changes["species"]
        assert isinstance(words, tuple)
        changes["species"] = tuple(Species(word) for word in words)
    if "limits" in changes:
        words = changes["limits"]
        assert isinstance(words, tuple)
        changes["limits"] = before.limits | dict(_limit(word) for word in words)
    return changes


def _limit(word: str) -> tuple[str, float]:
    name, _, text = word.partition("=")
    try:
        return name.strip(), float(text)
    except ValueError:
        raise click.BadParameter(
            f"{word!r} is not KEY=VALUE, such as hot_warn_c=26.", param_hint="--limit"
        ) from None
