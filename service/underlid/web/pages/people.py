"""Who may come in: one's own passphrase; for the lead the other people and the tokens of programs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Final

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.clock import monotonic_s
from underlid.errors import UnderlidError
from underlid.storage.records import Person, Role
from underlid.web.context import context_of
from underlid.web.forms import FieldError, choice, text
from underlid.web.pages.entrance import NAME_MOST_CHARS, attempts, new_passphrase
from underlid.web.problem import Problem
from underlid.web.templating import render
from underlid.web.visitor import AnyPerson, Form, Lead, set_cookie

ROLES: Final = {
    Role.KEEPER.value: "keeper: writes the journal, acknowledges alerts",
    Role.LEAD.value: "lead: sets up sheds, bins, probes and people as well",
    Role.READER.value: "reader: looks only",
}

router = APIRouter(include_in_schema=False)


@router.get("/people")
def people_page(request: Request, person: AnyPerson) -> Response:
    """Show one's own passphrase form, and the lead everybody else."""
    return _page(request, person, {}, None)


@router.post("/people/passphrase")
def change_passphrase(request: Request, form: Form, person: AnyPerson) -> Response:
    """Change one's own passphrase; every other session of this person ends."""
    records = context_of(request).records
    try:
        passphrase = new_passphrase(form)
        _check_old(request, form, person)
    except UnderlidError as error:
        return _page(request, person, form, error)
    records.set_passphrase(person.name, passphrase)
    response = RedirectResponse("/people?said=passphrase", 303)
    set_cookie(request, response, records.open_session(person, context_of(request).clock.now_ms()))
    return response


@router.post("/people/add")
def add_person(request: Request, form: Form, person: Lead) -> Response:
    """Add somebody with a first passphrase."""
    try:
        name = text(form, "name", "name", needed=True, most=NAME_MOST_CHARS)
        role = choice(form, "role", "role", ROLES)
        context_of(request).records.add_person(name, role, new_passphrase(form))
    except UnderlidError as error:
        return _page(request, person, form, error)
    return RedirectResponse("/people?said=person", 303)


@router.post("/people/remove")
def remove_person(request: Request, form: Form, person: Lead) -> Response:
    """Remove somebody; what they wrote stays, under their name."""
    if form.get("name") == person.name:
        raise Problem(422, "You cannot remove yourself. Let another lead do it.")
    context_of(request).records.remove_person(form.get("name", ""))
    return RedirectResponse("/people?said=gone", 303)


@router.post("/people/tokens")
def make_token(request: Request, form: Form, person: Lead) -> Response:
    """Make a program's token and show it this once."""
    try:
        label = text(form, "label", "what the token is for", needed=True, most=NAME_MOST_CHARS)
        role = choice(form, "role", "role", ROLES)
        token = context_of(request).records.make_token(label, role)
    except UnderlidError as error:
        return _page(request, person, form, error)
    return render(request, "token.html", {"label": label, "role": role, "token": token})


@router.post("/people/tokens/end")
def end_token(request: Request, form: Form, person: Lead) -> Response:
    """End a token: its program can no longer come in."""
    del person
    context_of(request).records.remove_token(form.get("label", ""))
    return RedirectResponse("/people?said=gone", 303)


def _check_old(request: Request, form: Mapping[str, str], person: Person) -> None:
    """Refuse a change by somebody who only found the browser open, and slow guessing down."""
    keys = (f"name {person.name.casefold()}",)
    known = attempts.wait_s(keys, monotonic_s()) == 0 and context_of(
        request
    ).records.check_passphrase(person.name, form.get("old", ""))
    if known:
        attempts.forget(keys)
        return
    attempts.failed(keys, monotonic_s())
    raise FieldError(
        "old",
        "present passphrase",
        value="(another one)",
        expected="the one you logged in with",
        next_step="Type it again; after several wrong ones wait five minutes.",
    )


def _page(
    request: Request, person: Person, fields: Mapping[str, str], error: UnderlidError | None
) -> Response:
    records = context_of(request).records
    is_lead = person.role == Role.LEAD
    values = {
        "fields": {name: fields.get(name, "") for name in ("name", "label", "role")},
        "error": error,
        "roles": ROLES,
        "people": records.people() if is_lead else [],
        "tokens": records.tokens() if is_lead else {},
        "addresses": Counter(one.person for one in records.routes()),
    }
    return render(request, "people.html", values, 422 if error else 200)
