"""`underlid mappings`: how messages of other firmware are read, tried out and kept."""

from __future__ import annotations

from pathlib import Path
from threading import Event
from typing import Any

import click

from underlid.cli.folder import data_option, records_in
from underlid.cli.sentence import json_option, say_json, say_table
from underlid.clock import SystemClock
from underlid.config import load
from underlid.errors import UnderlidError
from underlid.mqtt.listening import LISTEN_S, Ear
from underlid.mqtt.places import broker_place
from underlid.readings.mapping import PayloadMapping, mapping_from
from underlid.readings.try_out import try_out
from underlid.timeline import rfc3339

LOOK_EVERY_S = 0.2


@click.group()
def mappings() -> None:
    """List, add, try out and remove mappings for messages of other firmware.

    Example: underlid mappings list
    """


@mappings.command(name="list")
@json_option
@data_option
def list_mappings(as_json: bool, data: Path | None) -> None:
    """List every mapping; with --json whole.

    Example: underlid mappings list --json
    """
    with records_in(data) as records:
        kept = records.mappings()
    if as_json:
        good = {name: one.model_dump(exclude_defaults=True) for name, one in kept.good.items()}
        say_json({"mappings": good, "broken": kept.broken})
        return
    rows = [
        (name, one.filter, one.shed, _probe(one), ", ".join(value.channel for value in one.values))
        for name, one in kept.good.items()
    ]
    rows += [(name, f"cannot be used: {why}", "", "", "") for name, why in kept.broken.items()]
    say_table(rows, "mapping", "topics", "shed", "probe", "channels")


@mappings.command(name="add")
@click.argument("name")
@click.option("--filter", "topics", required=True, help="MQTT topic filter, with + and #.")
@click.option("--shed", required=True, help="The shed its probes belong to.")
@click.option("--probe-level", type=int, help="The level of the topic that names the probe.")
@click.option("--probe-at", help="JSON Pointer to what names the probe.")
@click.option("--probe", help="The probe, where all messages are of one.")
@click.option("--each-at", help="JSON Pointer to a list with a reading in each item.")
@click.option("--time-at", help="JSON Pointer to the time of measurement.")
@click.option("--time-as", type=click.Choice(["s", "ms", "rfc3339"]), help="How it is written.")
@click.option("--seq-at", help="JSON Pointer to the message's number.")
@click.option(
    "--value",
    "values",
    nargs=3,
    multiple=True,
    required=True,
    metavar="POINTER CHANNEL UNIT",
    help="A number: its JSON Pointer, its channel, the unit it is in ('' for the channel's).",
)
@click.option(
    "--example", nargs=2, metavar="TOPIC PAYLOAD", help="A message to try the mapping on."
)
@click.option("--only-try", is_flag=True, help="Show what it makes of the example; keep nothing.")
@json_option
@data_option
def add_mapping(
    name: str,
    topics: str,
    values: tuple[tuple[str, str, str], ...],
    example: tuple[str, str] | None,
    only_try: bool,
    as_json: bool,
    data: Path | None,
    **places: Any,
) -> None:
    """Keep a mapping under NAME, in place of one of that name.

    Example: underlid mappings add allotment-boards --filter 'allotment/+/env' --shed potting
    --probe-level 2 --value /soil/temp bed_temp_c degF --value /rh headspace_rh_pct /
    """
    fields = {key: value for key, value in places.items() if value is not None}
    fields |= {"filter": topics}
    fields["values"] = [
        {"at": at, "channel": channel, "unit": unit} for at, channel, unit in values
    ]
    if example is not None:
        fields |= {"example_topic": example[0], "example": example[1]}
    elif only_try:
        raise click.UsageError("Give --example with --only-try.")
    mapping = mapping_from(name, fields)
    if not only_try:
        with records_in(data) as records:
            records.save_mapping(name, mapping)
    if example is not None:
        _say_tried(name, mapping, as_json)


@mappings.command(name="try")
@click.argument("name")
@click.argument("topic")
@click.argument("payload")
@json_option
@data_option
def try_mapping(name: str, topic: str, payload: str, as_json: bool, data: Path | None) -> None:
    """Show what the mapping NAME would make of a message; nothing is stored.

    Example: underlid mappings try allotment-boards allotment/3/env '{"soil": {"temp": 70}}'
    """
    with records_in(data) as records:
        kept = records.mappings()
    if name not in kept.good:
        raise _unknown(name)
    fields = kept.good[name].model_dump() | {"example_topic": topic, "example": payload}
    _say_tried(name, mapping_from(name, fields), as_json)


@mappings.command(name="listen")
@click.argument("topics", default="#")
@click.option(
    "--seconds",
    type=click.FloatRange(1, 600),
    default=LISTEN_S,
    help="How long.",
    show_default=True,
)
@json_option
@data_option
def listen(topics: str, seconds: float, as_json: bool, data: Path | None) -> None:
    """Print what comes to the broker on TOPICS for a while; nothing is stored.

    Example: underlid mappings listen 'allotment/#' --seconds 30
    """
    settings = load(data=data)
    ear = Ear(broker_place(settings) if settings.broker_host else None, SystemClock())
    ear.listen(topics, seconds)
    last = 0
    while True:
        so_far = ear.heard()
        for one in reversed(so_far.messages):
            if one.number > last:
                text = one.payload.decode("utf-8", "backslashreplace")
                if as_json:
                    say_json({"topic": one.topic, "payload": text, "retained": one.retained})
                else:
                    click.echo(f"{one.topic} {text}")
                last = one.number
        if so_far.left_s <= 0:
            break
        Event().wait(LOOK_EVERY_S)
    ear.stop()
    if so_far.trouble:
        raise UnderlidError(
            "broker",
            value=f"{settings.broker_host}:{settings.broker_port}",
            expected=f"one that lets us listen ({so_far.trouble})",
            next_step="Check it with `underlid check`.",
        )


@mappings.command(name="remove")
@click.argument("name")
@data_option
def remove_mapping(name: str, data: Path | None) -> None:
    """Remove the mapping NAME; the readings that it brought stay.

    Example: underlid mappings remove allotment-boards
    """
    with records_in(data) as records:
        if not records.remove_mapping(name):
            raise _unknown(name)


def _say_tried(name: str, mapping: PayloadMapping, as_json: bool) -> None:
    """Print what would be stored of the mapping's example, and what refused."""
    tried = try_out(name, mapping, SystemClock().now_ms())
    assert tried is not None, "there is an example"
    readings = [
        {"probe": one.probe, "shed": one.shed, "at": rfc3339(one.taken_at_ms), "values": one.values}
        for one in tried.readings
    ]
    if as_json:
        rejected = [
            {"reason": one.reason.value, "sentence": one.sentence} for one in tried.rejected
        ]
        say_json({"readings": readings, "rejected": rejected})
        return
    for one in tried.readings:
        values = ", ".join(f"{channel} {value:g}" for channel, value in one.values.items())
        click.echo(f"{one.probe} in {one.shed} at {rfc3339(one.taken_at_ms)}: {values}")
    for refused in tried.rejected:
        click.echo(f"{refused.reason.value}: {refused.sentence}")


def _probe(mapping: PayloadMapping) -> str:
    """Return how a mapping finds the probe, in a word."""
    if mapping.probe is not None:
        return mapping.probe
    if mapping.probe_at is not None:
        return f"at {mapping.probe_at}"
    return f"level {mapping.probe_level}"


def _unknown(name: str) -> UnderlidError:
    return UnderlidError(
        "mapping",
        value=name,
        expected="the name of a mapping that can be used",
        next_step="List them with `underlid mappings list`.",
    )
