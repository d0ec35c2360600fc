"""Taking a bin out of service and putting it back: a form on the bin's page."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.storage.records.out_of_service import WHY_MOST_CHARS
from underlid.timeline import DAY_MS
from underlid.web.context import Context, context_of
from underlid.web.forms import choice, text
from underlid.web.problem import not_found
from underlid.web.visitor import Form, Writer

DAYS: Final = {"1": "a day", "7": "a week", "30": "30 days", "": "until it is put back"}

router = APIRouter(include_in_schema=False)


@router.post("/bin/{bin_id}/out")
def take_out(request: Request, bin_id: str, form: Form, person: Writer) -> Response:
    """Tell nobody of this bin for a while."""
    context = _context_with(request, bin_id)
    days = choice(form, "days", "how long", DAYS)
    why = text(form, "why", "reason", most=WHY_MOST_CHARS)
    now_ms = context.clock.now_ms()
    until_ms = now_ms + int(days) * DAY_MS if days else None
    context.records.take_out(bin_id, until_ms, person.name, why, now_ms)
    return RedirectResponse(f"/bin/{bin_id}?said=out", 303)


@router.post("/bin/{bin_id}/in")
def put_back(request: Request, bin_id: str, form: Form, person: Writer) -> Response:
    """Tell people of this bin again, also of what is still open."""
    del form, person
    context = _context_with(request, bin_id)
    context.records.put_back(bin_id, context.clock.now_ms())
    return RedirectResponse(f"/bin/{bin_id}?said=in", 303)


def _context_with(request: Request, bin_id: str) -> Context:
    context = context_of(request)
    if bin_id not in context.records.setup().bins:
        raise not_found("bin", bin_id)
    return context
