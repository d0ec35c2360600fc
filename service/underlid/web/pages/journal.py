"""The journal: writing, "same as last time", the list, corrections and withdrawals."""

from __future__ import annotations

import secrets
from typing import Final

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.binmodel.bins import Setup
from underlid.errors import UnderlidError
from underlid.journal.entries import Entry, Feed
from underlid.journal.photos import EntryPhoto, PhotoState
from underlid.web.context import Context, context_of
from underlid.web.forms import FieldError
from underlid.web.journal_form import (
    KINDS_ON_FORM,
    ROWS,
    UNITS,
    entry_from_form,
    form_from_entry,
    ingredients,
)
from underlid.web.pages.places import BEDDINGS
from underlid.web.photos import Upload, keep_photos
from underlid.web.problem import not_found
from underlid.web.templating import SAID, render, units_of
from underlid.web.visitor import AnyPerson, Form, Writer

PAGE: Final = 50
LOOK_BACK: Final = 200
"""Entries searched for the last one of a kind."""

FILLED_IN: Final = ("unit", "drained")
"""What a link may fill in beside ingredients and masses: the bucket's page does."""

ID_BYTES: Final = 9

router = APIRouter(include_in_schema=False)


@router.get("/journal")
def journal_page(request: Request, person: AnyPerson) -> Response:
    """Show the entries, newest first, of all bins or one."""
    del person
    context = context_of(request)
    setup = context.records.setup()
    wanted = request.query_params.get("bin", "")
    entries = context.records.entries(
        bin=wanted or None,
        withdrawn=True,
        most=PAGE,
        before=request.query_params.get("before") or None,
    )
    return render(
        request,
        "journal.html",
        {
            "entries": entries,
            "photos": context.records.photos_of([entry.id for entry in entries]),
            "bin_id": wanted,
            "names": _names(setup),
            "timezones": _timezones(setup),
            "older": entries[-1].id if len(entries) == PAGE else "",
        },
    )


@router.get("/journal/write")
def write_page(request: Request, person: Writer) -> Response:
    """Show the form, empty or filled like an earlier entry."""
    del person
    context = context_of(request)
    setup = context.records.setup()
    if not setup.bins:
        return RedirectResponse("/", 303)
    bin_id = request.query_params.get("bin", "") or next(iter(setup.bins))
    kind = request.query_params.get("kind", "feed")
    fields = {"bin": bin_id, "kind": kind if kind in KINDS_ON_FORM else "feed"}
    fields["unit"] = "lb" if units_of(request).mass == "lb" else "g"
    fields |= {
        name: value
        for name, value in request.query_params.items()
        if name in FILLED_IN or name.startswith(("ingredient_", "mass_"))
    }
    return _write_page(request, context, setup, fields, None)


@router.post("/journal/write")
def write(request: Request, upload: Upload, person: Writer) -> Response:
    """Keep a new entry with its photos; the same form sent twice keeps one."""
    context = context_of(request)
    setup = context.records.setup()
    now_ms = context.clock.now_ms()
    form = upload.fields
    try:
        bin_id = _bin_id(form, setup)
        again = form.get("again", "")
        if again:
            form = form_from_entry(entry_of(context, again), "UTC", keep_time=False) | {
                "bin": bin_id,
                "once": form.get("once", ""),
            }
        entry = entry_from_form(
            form,
            bin_id=bin_id,
            timezone=_timezones(setup)[bin_id],
            now_ms=now_ms,
            by=person.name,
            new_id=secrets.token_hex(ID_BYTES),
        )
        if entry.kind == "photo" and not upload.photos and not again:
            raise upload.refused[0] if upload.refused else no_photo()
        entry = context.records.add_entry(entry, form.get("once", "")[:64])
    except UnderlidError as error:
        return _write_page(request, context, setup, form, error)
    words = form.get("words", "")
    refused = upload.refused + keep_photos(context, entry.id, upload.photos, words, person.name)[1]
    context.live.publish({"kind": "journal", "bin": bin_id})
    if refused:
        return show_entry(request, entry.id, refused[0], "entry")
    return RedirectResponse(f"/bin/{bin_id}?said=entry", 303)


@router.get("/journal/{entry_id}")
def entry_page(request: Request, entry_id: str, person: AnyPerson) -> Response:
    """Show an entry with its photos and its history."""
    del person
    return show_entry(request, entry_id)


@router.get("/journal/{entry_id}/correct")
def correct_page(request: Request, entry_id: str, person: Writer) -> Response:
    """Show the form filled with an entry."""
    del person
    context = context_of(request)
    setup = context.records.setup()
    entry = entry_of(context, entry_id)
    fields = form_from_entry(entry, _timezones(setup).get(entry.bin, "UTC"), keep_time=True)
    return _write_page(request, context, setup, fields, None, entry)


@router.post("/journal/{entry_id}/correct")
def correct(request: Request, entry_id: str, form: Form, person: Writer) -> Response:
    """Keep a corrected version; the earlier one stays in the history."""
    context = context_of(request)
    setup = context.records.setup()
    before = entry_of(context, entry_id)
    try:
        bin_id = _bin_id(form, setup)
        entry = entry_from_form(
            form,
            bin_id=bin_id,
            timezone=_timezones(setup)[bin_id],
            now_ms=context.clock.now_ms(),
            by=person.name,
            new_id=entry_id,
        )
        context.records.correct_entry(entry)
    except UnderlidError as error:
        return _write_page(request, context, setup, form, error, before)
    context.live.publish({"kind": "journal", "bin": bin_id})
    return RedirectResponse(f"/journal/{entry_id}?said=corrected", 303)


@router.post("/journal/{entry_id}/withdraw")
def withdraw(request: Request, entry_id: str, form: Form, person: Writer) -> Response:
    """Withdraw an entry; it stays in the history."""
    del form
    context = context_of(request)
    entry = entry_of(context, entry_id)
    context.records.withdraw_entry(entry_id, person.name, context.clock.now_ms())
    context.live.publish({"kind": "journal", "bin": entry.bin})
    return RedirectResponse(f"/journal/{entry_id}?said=withdrawn", 303)


def show_entry(
    request: Request, entry_id: str, error: UnderlidError | None = None, said: str = ""
) -> Response:
    """Show an entry; *error* says what could not be done with it, *said* what could."""
    context = context_of(request)
    setup = context.records.setup()
    entry = entry_of(context, entry_id)
    photos = context.records.photo_history(entry_id)
    versions: list[Entry | EntryPhoto] = [*context.records.entry_history(entry_id), *photos]
    values = {
        "entry": entry,
        "photos": context.records.photos_of([entry_id]).get(entry_id, []),
        "history": sorted(versions, key=lambda one: one.known_at_ms),
        "erased": {one.id for one in photos if one.state is PhotoState.ERASED},
        "names": _names(setup),
        "timezones": _timezones(setup),
        "on_form": entry.kind in KINDS_ON_FORM,
        "error": error,
    }
    if said:
        values["said"] = SAID[said]
    return render(request, "entry.html", values, 422 if error else 200)


def no_photo() -> FieldError:
    """Return the refusal of a form for photos without any."""
    return FieldError(
        "photos",
        "the photo",
        value="",
        expected="one or a few files",
        next_step="Take one, or choose some.",
    )


def _write_page(
    request: Request,
    context: Context,
    setup: Setup,
    fields: dict[str, str],
    error: UnderlidError | None,
    correcting: Entry | None = None,
) -> Response:
    """Show the form with what was filled in so far."""
    kind = fields.get("kind", "feed")
    bin_id = fields.get("bin", "")
    last = None if correcting else _last(context, bin_id, kind)
    return render(
        request,
        "write.html",
        {
            "fields": fields,
            "kind": kind,
            "bin_id": bin_id,
            "error": error,
            "correcting": correcting,
            "last": last,
            "once": secrets.token_hex(ID_BYTES),
            "names": _names(setup),
            "timezones": _timezones(setup),
            "kinds": KINDS_ON_FORM,
            "rows": range(1, ROWS + 1),
            "mass_units": UNITS,
            "ingredients": ingredients(kind),
            "beddings": BEDDINGS,
        },
        422 if error else 200,
    )


def _last(context: Context, bin_id: str, kind: str) -> Entry | None:
    """Return the bin's newest entry of a kind that can be repeated with one tap."""
    if kind not in ("feed", "bedding", "water") or not bin_id:
        return None
    entries = context.records.entries(bin=bin_id, most=LOOK_BACK)
    found = next((entry for entry in entries if entry.kind == kind), None)
    if found is not None and isinstance(found.what, Feed):
        fits = len(found.what.portions) <= ROWS and len(found.what.bedding) <= 1
        return found if fits else None
    return found


def _bin_id(form: dict[str, str], setup: Setup) -> str:
    bin_id = form.get("bin", "")
    if bin_id not in setup.bins:
        raise FieldError(
            "bin", "bin", value=bin_id, expected="one of your bins", next_step="Choose one."
        )
    return bin_id


def entry_of(context: Context, entry_id: str) -> Entry:
    """Return the newest version of an entry that must be there."""
    entry = context.records.entry(entry_id)
    if entry is None:
        raise not_found("entry", entry_id)
    return entry


def _names(setup: Setup) -> dict[str, str]:
    return {one.id: one.name or one.id for one in setup.bins.values()}


def _timezones(setup: Setup) -> dict[str, str]:
    return {
        one.id: setup.sheds[one.shed].timezone if one.shed in setup.sheds else "UTC"
        for one in setup.bins.values()
    }
