"""The alerts: open ones with acknowledge and shelve, and what has passed."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.advice.retold import retold
from underlid.alerts.alert import Alert, AlertState
from underlid.timeline import HOUR_MS
from underlid.web.context import context_of
from underlid.web.forms import choice
from underlid.web.problem import not_found
from underlid.web.templating import render, units_of
from underlid.web.visitor import AnyPerson, Form, Writer

SHELVE_HOURS: Final = {"4": "4 hours", "24": "1 day", "72": "3 days", "168": "1 week"}
"""How long an alert may be kept quiet at once; then it speaks again (our judgement)."""

PAGE: Final = 50

router = APIRouter(include_in_schema=False)


@router.get("/alerts")
def alerts_page(request: Request, person: AnyPerson) -> Response:
    """Show the open alerts and the newest that have passed."""
    del person
    context = context_of(request)
    setup = context.records.setup()
    open_alerts = [
        alert for alert in context.records.open_alerts() if alert.raised_at_ms is not None
    ]
    open_alerts.sort(key=lambda alert: (-alert.priority.rank, alert.since_ms))
    before = request.query_params.get("before") or None
    fetched = context.records.alerts(most=PAGE, before=before)
    past = [alert for alert in fetched if alert.state is AlertState.RETURNED]
    units = units_of(request)
    return render(
        request,
        "alerts.html",
        {
            "open": [retold(alert, units) for alert in open_alerts],
            "past": [retold(alert, units) for alert in past],
            "older": fetched[-1].id if len(fetched) == PAGE else "",
            "names": {one.id: one.name or one.id for one in setup.bins.values()},
            "timezones": {
                one.id: setup.sheds[one.shed].timezone
                for one in setup.bins.values()
                if one.shed in setup.sheds
            },
            "now_ms": context.clock.now_ms(),
            "shelve_hours": SHELVE_HOURS,
        },
    )


@router.post("/alerts/{alert_id}/acknowledge")
def acknowledge(request: Request, alert_id: str, form: Form, person: Writer) -> Response:
    """Note that the keeper has seen the alert."""
    _alert(request, alert_id)
    context_of(request).judged.acknowledge(alert_id, person.name)
    return _back(form, "acknowledged")


@router.post("/alerts/{alert_id}/shelve")
def shelve(request: Request, alert_id: str, form: Form, person: Writer) -> Response:
    """Keep the alert quiet for a while."""
    _alert(request, alert_id)
    context = context_of(request)
    hours = int(choice(form, "hours", "how long", SHELVE_HOURS))
    until_ms = context.clock.now_ms() + hours * HOUR_MS
    context.judged.shelve(alert_id, until_ms, person.name)
    return _back(form, "shelved")


def _alert(request: Request, alert_id: str) -> Alert:
    """Return the alert or refuse."""
    alert = context_of(request).records.alert(alert_id)
    if alert is None:
        raise not_found("alert", alert_id)
    return alert


def _back(form: dict[str, str], said: str) -> Response:
    """Return to the page the button was on."""
    to = form.get("to", "")
    page = to if to.startswith("/bin/") and "?" not in to and to.isprintable() else "/alerts"
    return RedirectResponse(f"{page}?said={said}", 303)
