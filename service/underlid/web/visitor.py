"""Who is asking: a person with a session cookie, or a program with a bearer token.

Pages use `person_of` and friends (they send a stranger to the log-in page); the interface uses
`caller_of` (it answers 401). `form_of` reads a form and checks its token first.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import Annotated, Final
from urllib.parse import quote

from fastapi import Depends, Request
from starlette.responses import Response

from underlid.storage.records import Person
from underlid.storage.records.accounts import SESSION_MS
from underlid.timeline import SECOND_MS
from underlid.web.context import context_of
from underlid.web.problem import GoToError, Problem
from underlid.web.tokens import FIELD, HEADER, form_token_holds

COOKIE_PLAIN: Final = "underlid_session"
COOKIE_HTTPS: Final = "__Host-underlid_session"
"""The prefix makes browsers refuse the cookie from anybody but this very host over HTTPS."""

STRANGER_BYTES: Final = 24
SESSION_S: Final = SESSION_MS // SECOND_MS
"""The browser keeps the cookie as long as the store keeps the session."""

FIELDS_MOST: Final = 200
READS: Final = frozenset({"GET", "HEAD"})
CHALLENGE: Final = {"www-authenticate": 'Bearer realm="underlid"'}


@dataclass(frozen=True, slots=True)
class Caller:
    """Somebody who may use the interface."""

    name: str
    role: str
    is_person: bool = False
    """Somebody who is logged in, and not a program with a token."""


def cookie_name(request: Request) -> str:
    """Return the session cookie's name here."""
    return COOKIE_HTTPS if context_of(request).https else COOKIE_PLAIN


def set_cookie(request: Request, response: Response, value: str) -> None:
    """Give the browser its secret."""
    response.set_cookie(
        cookie_name(request),
        value,
        max_age=SESSION_S,
        path="/",
        secure=context_of(request).https,
        httponly=True,
        samesite="lax",
    )


def visitor_of(request: Request) -> Person | None:
    """Return who is logged in, or None; notes both for the page."""
    cookie = request.cookies.get(cookie_name(request), "")
    context = context_of(request)
    person = context.records.session(cookie, context.clock.now_ms()) if cookie else None
    request.state.person = person
    request.state.cookie = cookie
    return person


def stranger_cookie(request: Request) -> str:
    """Return the browser's secret before anybody has logged in, a new one if it has none."""
    cookie: str = getattr(request.state, "cookie", "") or secrets.token_urlsafe(STRANGER_BYTES)
    request.state.cookie = cookie
    return cookie


def person_of(request: Request, visitor: Annotated[Person | None, Depends(visitor_of)]) -> Person:
    """Return who is logged in, or send the visitor to the right door."""
    if visitor is not None:
        return visitor
    if not context_of(request).records.people():
        raise GoToError("/start")
    back = f"?to={quote(request.url.path)}" if request.method in READS else ""
    raise GoToError(f"/login{back}")


def writer_of(person: Annotated[Person, Depends(person_of)]) -> Person:
    """Return who is logged in and may write."""
    if person.role == "reader":
        raise Problem(403, "You may look but not write here. Ask the lead for the keeper's role.")
    return person


def lead_of(person: Annotated[Person, Depends(person_of)]) -> Person:
    """Return who is logged in and may change the set-up."""
    if person.role != "lead":
        raise Problem(403, "Only a lead may change sheds, bins and probes. Ask the lead.")
    return person


async def form_of(
    request: Request, _: Annotated[Person | None, Depends(visitor_of)]
) -> dict[str, str]:
    """Return the form's fields, last one winning, once its token has been checked."""
    async with request.form(max_files=0, max_fields=FIELDS_MOST) as form:
        fields = {name: value for name, value in form.items() if isinstance(value, str)}
    if not form_token_holds(fields.pop(FIELD, ""), getattr(request.state, "cookie", "")):
        raise Problem(403, "The page this form came from is too old. Go back, reload, send again.")
    return fields


def caller_of(request: Request) -> Caller:
    """Return the program or person behind a request to the interface, or answer 401."""
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    if scheme.lower() == "bearer":
        role = context_of(request).records.token_role(token.strip())
        if role is None:
            challenge = {"www-authenticate": 'Bearer realm="underlid", error="invalid_token"'}
            raise Problem(
                401, "This token is not known here. Make one with: underlid user", "", challenge
            )
        return Caller("token", str(role))
    person = visitor_of(request)
    if person is None:
        raise Problem(401, "Send a token as Authorization: Bearer …, or log in.", "", CHALLENGE)
    token = request.headers.get(HEADER, "")
    if request.method not in READS and not form_token_holds(token, request.state.cookie):
        raise Problem(403, f"A request with a session cookie needs the page's {HEADER}.")
    return Caller(person.name, str(person.role), is_person=True)


def writing_caller(caller: Annotated[Caller, Depends(caller_of)]) -> Caller:
    """Return a caller that may write."""
    if caller.role == "reader":
        raise Problem(403, "This token may read only. Make one with the role keeper.")
    return caller


def leading_caller(caller: Annotated[Caller, Depends(caller_of)]) -> Caller:
    """Return a caller that may change the set-up."""
    if caller.role != "lead":
        raise Problem(403, "Only the role lead may change the set-up. Make a token with that role.")
    return caller


AnyPerson = Annotated[Person, Depends(person_of)]
Writer = Annotated[Person, Depends(writer_of)]
Lead = Annotated[Person, Depends(lead_of)]
Form = Annotated[dict[str, str], Depends(form_of)]
AnyCaller = Annotated[Caller, Depends(caller_of)]
WritingCaller = Annotated[Caller, Depends(writing_caller)]
LeadingCaller = Annotated[Caller, Depends(leading_caller)]
