"""`underlid alerts`: what is wrong, and what has been done about it."""

from __future__ import annotations

from pathlib import Path

import click

from underlid.alerts.alert import Alert
from underlid.cli.folder import data_option, records_in
from underlid.cli.sentence import json_option, say_json, say_table
from underlid.clock import SystemClock
from underlid.files.verdicts import alert_keys
from underlid.timeline import HOUR_MS, rfc3339


@click.group()
def alerts() -> None:
    """List, acknowledge and shelve alerts.

    Example: underlid alerts list
    """


@alerts.command(name="list")
@click.option("--bin", "bin_id", help="Only this bin.")
@click.option("--all", "every", is_flag=True, help="Those that have returned too.")
@click.option("--most", type=click.IntRange(1, 10_000), default=100, help="At most so many.")
@json_option
@data_option
def list_alerts(
    bin_id: str | None, every: bool, most: int, as_json: bool, data: Path | None
) -> None:
    """List open alerts, or all of them.

    Example: underlid alerts list --all --json
    """
    with records_in(data) as records:
        found = records.alerts(bin_id, most) if every else records.open_alerts(bin_id)[:most]
    raised = [alert for alert in found if alert.raised_at_ms is not None]
    if as_json:
        say_json([_as_json(alert) for alert in raised])
        return
    say_table(
        [
            (
                one.id,
                one.bin,
                one.condition.value,
                one.priority.value,
                one.state.value,
                rfc3339(one.raised_at_ms or 0),
                _handled(one),
                one.text,
            )
            for one in raised
        ],
        "id",
        "bin",
        "condition",
        "priority",
        "state",
        "raised",
        "handled",
        "sentence",
    )


@alerts.command(name="acknowledge")
@click.argument("alert_id", metavar="ID")
@click.option("--by", default="", help="Who has seen it.")
@data_option
def acknowledge_alert(alert_id: str, by: str, data: Path | None) -> None:
    """Note that somebody has seen an alert.

    Example: underlid alerts acknowledge 8c0d… --by Robin
    """
    with records_in(data) as records:
        records.acknowledge(alert_id, by, SystemClock().now_ms())


@alerts.command(name="shelve")
@click.argument("alert_id", metavar="ID")
@click.option("--hours", type=click.FloatRange(0, 24 * 90), default=24.0, help="For so long.")
@click.option("--by", default="", help="Who shelves it.")
@data_option
def shelve_alert(alert_id: str, hours: float, by: str, data: Path | None) -> None:
    """Keep an alert quiet for some hours; 0 takes it off the shelf.

    Example: underlid alerts shelve 8c0d… --hours 48
    """
    now_ms = SystemClock().now_ms()
    until_ms = now_ms + round(hours * HOUR_MS) if hours else None
    with records_in(data) as records:
        records.shelve(alert_id, until_ms, by, now_ms)


def _as_json(alert: Alert) -> dict[str, object]:
    return {
        "id": alert.id,
        "bin": alert.bin,
        "shed": alert.shed,
        "condition": alert.condition.value,
        "state": alert.state.value,
        "raised": _time(alert.raised_at_ms),
        "returned": _time(alert.returned_at_ms),
        "acknowledged": _time(alert.acknowledged_at_ms),
        "acknowledged_by": alert.acknowledged_by,
        "shelved_until": _time(alert.shelved_until_ms),
        **{key: value for key, value in alert_keys(alert).items() if key != "alert"},
    }


def _handled(alert: Alert) -> str:
    if alert.shelved_until_ms is not None:
        return f"shelved until {rfc3339(alert.shelved_until_ms)}"
    return f"seen by {alert.acknowledged_by or 'somebody'}" if alert.acknowledged_at_ms else ""


def _time(at_ms: int | None) -> str | None:
    return None if at_ms is None else rfc3339(at_ms)
