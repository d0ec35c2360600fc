"""First start, log in, log out, and which units a browser shows."""

from __future__ import annotations

import hmac
from collections.abc import Mapping
from typing import Final

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from underlid.clock import monotonic_s
from underlid.errors import UnderlidError, Words
from underlid.storage.records import Role
from underlid.storage.records.accounts import PASSPHRASE_LEAST_CHARS, PASSPHRASE_MOST_CHARS
from underlid.web.attempts import Attempts
from underlid.web.context import context_of
from underlid.web.forms import FieldError, text
from underlid.web.problem import Problem
from underlid.web.templating import UNITS_COOKIE, render
from underlid.web.visitor import (
    SESSION_S,
    AnyPerson,
    Form,
    cookie_name,
    set_cookie,
    stranger_cookie,
    visitor_of,
)

NAME_MOST_CHARS: Final = 40
"""Longer ones break every line that says who wrote something."""

router = APIRouter(include_in_schema=False)
attempts = Attempts()


@router.get("/start", dependencies=[Depends(visitor_of)])
def start_page(request: Request) -> Response:
    """Show the form that makes the first person."""
    if context_of(request).records.people():
        return RedirectResponse("/login", 303)
    return _start_page(request, {}, None)


@router.post("/start")
def start(request: Request, form: Form) -> Response:
    """Make the first person, who is the lead, and log them in."""
    context = context_of(request)
    if context.records.people():
        return RedirectResponse("/login", 303)
    try:
        name = text(form, "name", "your name", needed=True, most=NAME_MOST_CHARS)
        passphrase = new_passphrase(form)
        _check_start_key(context.start_key, form)
    except UnderlidError as error:
        return _start_page(request, form, error)
    context.records.add_person(name, Role.LEAD, passphrase)
    return _enter(request, name, passphrase, "/") or RedirectResponse("/login", 303)


@router.get("/login", dependencies=[Depends(visitor_of)])
def login_page(request: Request) -> Response:
    """Show the log-in form."""
    if not context_of(request).records.people():
        return RedirectResponse("/start", 303)
    return _login_page(request, {"to": request.query_params.get("to", "/")}, None)


@router.post("/login")
def login(request: Request, form: Form) -> Response:
    """Log somebody in, unless somebody has been guessing."""
    name = form.get("name", "").strip()[:PASSPHRASE_MOST_CHARS]
    address = request.client.host if request.client else "unknown"
    keys = (f"name {name.casefold()}", f"address {address}")
    wait_s = attempts.wait_s(keys, monotonic_s())
    if wait_s > 0:
        minutes = max(1, round(wait_s / 60))
        raise Problem(
            429,
            f"Too many tries with a wrong passphrase. Try again in {minutes} min.",
            "Wait a little",
            {"retry-after": str(round(wait_s) + 1)},
        )
    passphrase = form.get("passphrase", "")
    answer = None
    if len(passphrase) <= PASSPHRASE_MOST_CHARS:
        answer = _enter(request, name, passphrase, _inside(form.get("to", "/")))
    if answer is not None:
        attempts.forget(keys)
        return answer
    attempts.failed(keys, monotonic_s())
    return _login_page(
        request,
        form,
        FieldError(
            "passphrase",
            "name or passphrase",
            value=name,
            expected="a person of this place and their passphrase",
            next_step="Try again, or set a new one with: underlid user passphrase.",
        ),
    )


@router.post("/logout")
def logout(request: Request, form: Form) -> Response:
    """Forget the session here and in the store."""
    del form
    cookie = request.cookies.get(cookie_name(request), "")
    if cookie:
        context_of(request).records.close_session(cookie)
    response = RedirectResponse("/login", 303)
    response.delete_cookie(
        cookie_name(request), secure=context_of(request).https, httponly=True, samesite="lax"
    )
    return response


@router.post("/units")
def choose_units(request: Request, form: Form, person: AnyPerson) -> Response:
    """Keep in this browser which units its keeper reads."""
    del person
    response = RedirectResponse(_inside(form.get("to", "/")), 303)
    name = "us" if form.get("units") == "us" else "si"
    response.set_cookie(
        UNITS_COOKIE,
        name,
        max_age=SESSION_S,
        secure=context_of(request).https,
        httponly=True,
        samesite="lax",
    )
    return response


def new_passphrase(form: Mapping[str, str]) -> str:
    """Return a new passphrase that is long enough and was typed twice alike."""
    passphrase = form.get("passphrase", "")
    if not PASSPHRASE_LEAST_CHARS <= len(passphrase) <= PASSPHRASE_MOST_CHARS:
        raise FieldError(
            "passphrase",
            "passphrase",
            value=Words(f"{len(passphrase)} characters long"),
            expected=f"{PASSPHRASE_LEAST_CHARS} to {PASSPHRASE_MOST_CHARS} characters",
            next_step="Four or five plain words do well.",
        )
    if passphrase != form.get("again", ""):
        raise FieldError(
            "again",
            "second passphrase",
            value=Words("another one"),
            expected="the same as the first",
            next_step="Type it again.",
        )
    return passphrase


def _check_start_key(start_key: str, form: dict[str, str]) -> None:
    """Refuse a stranger who found the page before its owner did."""
    given = form.get("start_key", "").strip()
    if start_key and not hmac.compare_digest(given.encode(), start_key.encode()):
        raise FieldError(
            "start_key",
            "start key",
            value=given,
            expected="the key that was printed where Underlid was started",
            next_step="Look there and copy it.",
        )


def _enter(request: Request, name: str, passphrase: str, to: str) -> Response | None:
    """Log *name* in and go *to* a page; None when the passphrase is not theirs."""
    context = context_of(request)
    person = context.records.check_passphrase(name, passphrase)
    if person is None:
        return None
    response = RedirectResponse(to, 303)
    set_cookie(request, response, context.records.open_session(person, context.clock.now_ms()))
    return response


def _inside(path: str) -> str:
    """Return *path* when it is one of our own pages, else the first page.

    >>> _inside("/journal"), _inside("//elsewhere.example"), _inside("https://elsewhere.example")
    ('/journal', '/', '/')
    """
    own = path.startswith("/") and not path.startswith("//")
    return path if own and "\\" not in path and path.isprintable() else "/"


def _start_page(request: Request, fields: dict[str, str], error: UnderlidError | None) -> Response:
    asks_key = bool(context_of(request).start_key)
    values: dict[str, object] = {"least": PASSPHRASE_LEAST_CHARS, "asks_key": asks_key}
    return _door(request, "start.html", values, fields, error)


def _login_page(request: Request, fields: dict[str, str], error: UnderlidError | None) -> Response:
    return _door(request, "login.html", {}, fields, error)


def _door(
    request: Request,
    template: str,
    values: dict[str, object],
    fields: dict[str, str],
    error: UnderlidError | None,
) -> Response:
    """Show a form to somebody who has not logged in yet."""
    secret = stranger_cookie(request)
    given = {name: value for name, value in fields.items() if name not in ("passphrase", "again")}
    status = 200 if error is None else 422
    response = render(request, template, {**values, "fields": given, "error": error}, status)
    set_cookie(request, response, secret)
    return response
