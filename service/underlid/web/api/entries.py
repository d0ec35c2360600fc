"""The journal: write, read, correct, withdraw. `Idempotency-Key` makes a repeated POST harmless."""

from __future__ import annotations

import secrets
from typing import Annotated, Final

from fastapi import APIRouter, Header, Query, Request

from underlid.errors import UnderlidError
from underlid.journal.entries import Entry
from underlid.journal.parse import entry_from_fields
from underlid.web.api.schemas import EntryBody, EntryFields, EntryPage, ProblemBody
from underlid.web.context import Context, context_of
from underlid.web.problem import Problem, not_found
from underlid.web.visitor import AnyCaller, Caller, WritingCaller

PAGE_MOST: Final = 500
KEY_MOST_CHARS: Final = 200
ID_BYTES: Final = 9

router = APIRouter(
    prefix="/api/v1",
    tags=["journal"],
    responses={422: {"model": ProblemBody, "description": "Not accepted; the detail says why"}},
)


@router.get("/entries")
def list_entries(
    request: Request,
    caller: AnyCaller,
    bin_id: Annotated[str, Query(alias="bin")] = "",
    before: Annotated[str, Query(description="`next` of the page before")] = "",
    most: Annotated[int, Query(ge=1, le=PAGE_MOST)] = 100,
    withdrawn: bool = False,
) -> EntryPage:
    """Return entries, newest first."""
    del caller
    records = context_of(request).records
    found = records.entries(
        bin=bin_id or None, withdrawn=withdrawn, most=most, before=before or None
    )
    photos = records.photos_of([entry.id for entry in found])
    return EntryPage(
        entries=[EntryBody.of(entry, len(photos.get(entry.id, ()))) for entry in found],
        next=found[-1].id if len(found) == most else None,
    )


@router.post("/entries", status_code=201)
def add_entry(
    request: Request,
    caller: WritingCaller,
    fields: EntryFields,
    idempotency_key: Annotated[str, Header(max_length=KEY_MOST_CHARS)] = "",
) -> EntryBody:
    """Write an entry; with a key that was used before, return what was stored then."""
    context = context_of(request)
    entry = _entry_from(context, caller, fields, secrets.token_hex(ID_BYTES))
    stored = context.records.add_entry(entry, idempotency_key)
    context.live.publish({"kind": "journal", "bin": stored.bin})
    return EntryBody.of(stored)


@router.get("/entries/{entry_id}")
def one_entry(request: Request, entry_id: str, caller: AnyCaller) -> EntryBody:
    """Return the newest version of an entry."""
    del caller
    context = context_of(request)
    photos = context.records.photos_of([entry_id]).get(entry_id, ())
    return EntryBody.of(known_entry(context, entry_id), len(photos))


@router.get("/entries/{entry_id}/history")
def entry_history(request: Request, entry_id: str, caller: AnyCaller) -> list[EntryBody]:
    """Return every version of an entry, first to newest."""
    del caller
    context = context_of(request)
    known_entry(context, entry_id)
    return [EntryBody.of(entry) for entry in context.records.entry_history(entry_id)]


@router.put("/entries/{entry_id}")
def correct_entry(
    request: Request, entry_id: str, caller: WritingCaller, fields: EntryFields
) -> EntryBody:
    """Correct an entry: a new version is kept beside the earlier ones."""
    context = context_of(request)
    known_entry(context, entry_id)
    stored = context.records.correct_entry(_entry_from(context, caller, fields, entry_id))
    context.live.publish({"kind": "journal", "bin": stored.bin})
    return EntryBody.of(stored)


@router.delete("/entries/{entry_id}")
def withdraw_entry(request: Request, entry_id: str, caller: WritingCaller) -> EntryBody:
    """Withdraw an entry: it no longer counts, and stays in the history."""
    context = context_of(request)
    known_entry(context, entry_id)
    gone = context.records.withdraw_entry(entry_id, caller.name, context.clock.now_ms())
    context.live.publish({"kind": "journal", "bin": gone.bin})
    return EntryBody.of(gone)


def _entry_from(context: Context, caller: Caller, fields: EntryFields, new_id: str) -> Entry:
    """Return the entry that a body describes."""
    given = fields.model_dump(exclude_none=True)
    if fields.bin not in context.records.setup().bins:
        raise UnderlidError(
            "bin",
            value=fields.bin,
            expected="the id of a bin here",
            next_step="See GET /api/v1/bins.",
        )
    if len(given) > KEY_MOST_CHARS:
        raise Problem(422, "An entry has a handful of fields; this has too many.")
    by = "" if caller.name == "token" else caller.name
    return entry_from_fields(given, known_at_ms=context.clock.now_ms(), by=by, new_id=new_id)


def known_entry(context: Context, entry_id: str) -> Entry:
    """Return the newest version of an entry that must be there."""
    entry = context.records.entry(entry_id)
    if entry is None:
        raise not_found("entry", entry_id)
    return entry
