"""Other firmware: what it sends, and the mappings by which it is read, tried out before they count."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.errors import UnderlidError
from underlid.readings.channels import CHANNELS
from underlid.readings.mapping import VALUES_MOST, units_of
from underlid.readings.try_out import trouble_with, try_out
from underlid.readings.values import Admitted, RejectReason
from underlid.storage.mapping_counts import MappingCounts
from underlid.web.context import Context, Ear, context_of
from underlid.web.forms import FieldError
from underlid.web.mapping_form import (
    PROBE_BY,
    TIME_AS,
    fields_from,
    fields_of,
    mapping_of,
    value_rows,
)
from underlid.web.problem import Problem, not_found
from underlid.web.templating import render
from underlid.web.visitor import AnyPerson, Form, Lead

REFUSED_LOOKED_AT: Final = 30
PREVIEW_CHARS: Final = 400
LOOK_AGAIN_S: Final = 4
"""How often a page that has heard nothing yet looks again by itself."""

router = APIRouter(include_in_schema=False)


@router.get("/mappings")
def mappings_page(request: Request, person: AnyPerson) -> Response:
    """Show the mappings, what the broker brought while listening, and what nobody understood."""
    leads = person.role == "lead"
    return _list_page(request, leads, {}, None)


@router.post("/mappings/listen")
def listen(request: Request, form: Form, person: Lead) -> Response:
    """Begin to listen at the broker for a minute."""
    del person
    try:
        _ear(context_of(request)).listen(form.get("filter", "").strip())
    except UnderlidError as error:
        return _list_page(request, True, form, error)
    return RedirectResponse("/mappings#heard", 303)


@router.get("/mapping")
def mapping_page(
    request: Request,
    person: Lead,
    name: str = "",
    heard: int = 0,
    refused: int = 0,
    topic: str = "",
) -> Response:
    """Show the form of one mapping: one that is kept, or a new one made for a message."""
    del person
    context = context_of(request)
    fields: dict[str, str] = {}
    if name:
        one = context.records.mappings().good.get(name)
        if one is None:
            raise not_found("mapping", name)
        fields = fields_of(name, one)
    elif heard and context.ear is not None:
        for message in context.ear.heard().messages:
            if message.number == heard:
                fields = fields_from(message.topic, message.payload)
    elif refused:
        for reject in context.readings.recent_rejects(REFUSED_LOOKED_AT):
            if (reject.message.received_at_ms, reject.message.topic) == (refused, topic):
                fields = fields_from(reject.message.topic, reject.message.payload)
    return _form_page(request, fields, None)


@router.post("/mapping")
def keep_or_try(request: Request, form: Form, person: Lead) -> Response:
    """Try a mapping out on the message beside it, or keep it."""
    del person
    try:
        name, made = mapping_of(form)
        if form.get("act") != "keep":
            return _form_page(request, form, None)
        context_of(request).records.save_mapping(name, made, was=form.get("was", ""))
    except UnderlidError as error:
        return _form_page(request, form, error)
    return RedirectResponse(f"/mapping?name={name}&said=mapping", 303)


@router.post("/mapping/remove")
def remove(request: Request, form: Form, person: Lead) -> Response:
    """Remove a mapping; the readings that it brought stay."""
    del person
    if not context_of(request).records.remove_mapping(form.get("was", "")):
        raise not_found("mapping", form.get("was", ""))
    return RedirectResponse("/mappings?said=mapping_gone", 303)


def _list_page(
    request: Request, leads: bool, fields: dict[str, str], error: UnderlidError | None
) -> Response:
    context = context_of(request)
    kept = context.records.mappings()
    now_ms = context.clock.now_ms()
    heard = context.ear.heard() if context.ear is not None else None
    rejects = context.readings.recent_rejects(REFUSED_LOOKED_AT) if leads else []
    values = {
        "kept": kept,
        "troubles": {name: trouble_with(name, one, now_ms) for name, one in kept.good.items()},
        "sheds": context.records.setup().sheds,
        "counts": _counts(context),
        "has_broker": context.ear is not None and context.ear.has_broker,
        "heard": heard if leads else None,
        "shown": _shown,
        "refused": [one.message for one in rejects if one.reason is RejectReason.BAD_TOPIC],
        "fields": {"filter": heard.topic_filter if heard else "", **fields},
        "error": error,
        "now_ms": now_ms,
    }
    response = render(request, "mappings.html", values, 422 if error else 200)
    if leads and heard is not None and heard.left_s > 0 and not heard.messages:
        response.headers["refresh"] = str(LOOK_AGAIN_S)
    return response


def _counts(context: Context) -> MappingCounts | None:
    """Return what this process has counted; None where it takes nothing in."""
    return context.recorder.mapping_counts if context.recorder is not None else None


def _form_page(request: Request, fields: dict[str, str], error: UnderlidError | None) -> Response:
    context = context_of(request)
    tried: Admitted | None = None
    if error is None and any(fields.get(f"channel_{n}") for n in range(1, VALUES_MOST + 1)):
        try:
            tried = try_out(*mapping_of(fields), context.clock.now_ms())
        except FieldError as wrong:
            error = wrong
    sheds = {one.id: one.name or one.id for one in context.records.setup().sheds.values()}
    values = {
        "fields": {"was": "", **fields},
        "rows": value_rows(fields),
        "tried": tried,
        "error": error,
        "sheds": sheds,
        "probe_by": PROBE_BY,
        "time_as": TIME_AS,
        "channels": CHANNELS,
        "units_known": sorted({unit for channel in CHANNELS for unit in units_of(channel)}),
        "now_ms": context.clock.now_ms(),
    }
    return render(request, "mapping.html", values, 422 if error else 200)


def _shown(payload: bytes) -> str:
    """Return a payload as the page shows it: one line, printable, of a bearable length."""
    text = payload[: PREVIEW_CHARS * 2].decode("utf-8", "backslashreplace")
    printable = "".join(letter if letter.isprintable() else " " for letter in text)
    return printable[:PREVIEW_CHARS] + ("…" if len(printable) > PREVIEW_CHARS else "")


def _ear(context: Context) -> Ear:
    if context.ear is None:
        raise Problem(404, "This process listens at no broker.")
    return context.ear
