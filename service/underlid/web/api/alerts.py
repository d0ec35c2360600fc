"""The alerts: list, one, acknowledge, shelve."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query, Request

from underlid.advice.retold import retold
from underlid.alerts.alert import Alert
from underlid.journal.units import units_named
from underlid.timeline import DAY_MS, parse_time_ms
from underlid.web.api.schemas import AlertBody, AlertPage, ProblemBody, ShelveFields
from underlid.web.context import Context, context_of
from underlid.web.problem import Problem, not_found
from underlid.web.visitor import AnyCaller, WritingCaller

PAGE_MOST: Final = 500
SHELVE_MOST_MS: Final = 31 * DAY_MS
"""Longer than this an alert is not shelved but unwanted: change the limit instead."""

TextUnits = Annotated[
    Literal["si", "us"] | None,
    Query(description="Units of the sentences; without it, those of the setting `units`"),
]

router = APIRouter(
    prefix="/api/v1",
    tags=["alerts"],
    responses={404: {"model": ProblemBody, "description": "No such alert"}},
)


@router.get("/alerts")
def list_alerts(
    request: Request,
    caller: AnyCaller,
    only_open: Annotated[bool, Query(alias="open", description="Only those not returned")] = False,
    bin_id: Annotated[str, Query(alias="bin")] = "",
    before: Annotated[str, Query(description="`next` of the page before")] = "",
    most: Annotated[int, Query(ge=1, le=PAGE_MOST)] = 100,
    units: TextUnits = None,
) -> AlertPage:
    """Return alerts, newest first."""
    del caller
    records = context_of(request).records
    if only_open:
        found = records.open_alerts(bin_id or None)
        return AlertPage(alerts=[_body(alert, units) for alert in found], next=None)
    found = records.alerts(bin=bin_id or None, most=most, before=before or None)
    return AlertPage(
        alerts=[_body(alert, units) for alert in found],
        next=found[-1].id if len(found) == most else None,
    )


@router.get("/alerts/{alert_id}")
def one_alert(
    request: Request, alert_id: str, caller: AnyCaller, units: TextUnits = None
) -> AlertBody:
    """Return one alert."""
    del caller
    return _body(_known(context_of(request), alert_id), units)


@router.post("/alerts/{alert_id}/acknowledge")
def acknowledge(request: Request, alert_id: str, caller: WritingCaller) -> AlertBody:
    """Note that somebody has seen the alert; the first one stands."""
    context = context_of(request)
    _known(context, alert_id)
    context.judged.acknowledge(alert_id, caller.name)
    return AlertBody.of(_known(context, alert_id))


@router.post("/alerts/{alert_id}/shelve")
def shelve(
    request: Request, alert_id: str, caller: WritingCaller, fields: ShelveFields
) -> AlertBody:
    """Keep the alert quiet until a time."""
    context = context_of(request)
    _known(context, alert_id)
    now_ms = context.clock.now_ms()
    try:
        until_ms = parse_time_ms(fields.until)
    except (ValueError, OverflowError):
        until_ms = 0
    if not now_ms < until_ms <= now_ms + SHELVE_MOST_MS:
        raise Problem(422, "until must be a time in the next 31 days, like 2026-05-01T18:30:00Z.")
    context.judged.shelve(alert_id, until_ms, caller.name)
    return AlertBody.of(_known(context, alert_id))


def _body(alert: Alert, units: TextUnits) -> AlertBody:
    return AlertBody.of(alert if units is None else retold(alert, units_named(units)))


def _known(context: Context, alert_id: str) -> Alert:
    alert = context.records.alert(alert_id)
    if alert is None:
        raise not_found("alert", alert_id)
    return alert
