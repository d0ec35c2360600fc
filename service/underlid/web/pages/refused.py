"""Readings on their way to InfluxDB: how many wait, and those it refused, with its words."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.web.context import context_of
from underlid.web.templating import render
from underlid.web.visitor import AnyPerson, Form, Lead

SHOWN: Final = 100

router = APIRouter(include_in_schema=False)


@router.get("/refused")
def refused_page(request: Request, person: AnyPerson) -> Response:
    """Show what this machine's file still holds and why."""
    del person
    context = context_of(request)
    values = {
        "sent_on": context.settings.readings_store == "influxdb",
        "backlog": context.readings.backlog(),
        "rows": context.readings.refused_rows(SHOWN),
        "now_ms": context.clock.now_ms(),
    }
    return render(request, "refused.html", values)


@router.post("/refused/retry")
def retry(request: Request, form: Form, person: Lead) -> Response:
    """Send every refused reading again."""
    del form, person
    context_of(request).readings.retry_refused()
    return RedirectResponse("/refused?said=resent", 303)
