"""Where somebody is told: their own addresses, what each is told, and a test message.

A keeper sees to their own, a lead to everybody's. An address is never shown again.
"""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.alerts.alert import Occasion
from underlid.alerts.routes import Route, RouteRules
from underlid.binmodel.bins import Setup
from underlid.errors import UnderlidError
from underlid.storage.records import Person
from underlid.storage.records.routes import LABEL_MOST_CHARS
from underlid.web.context import context_of
from underlid.web.forms import FieldError, text
from underlid.web.problem import Problem
from underlid.web.route_form import (
    HOURS,
    LEAST,
    PLACES_MOST,
    UNIT_WORDS,
    WAITS,
    fields_of,
    rules_from,
    told_sentence,
)
from underlid.web.templating import render
from underlid.web.trial import send_trial
from underlid.web.visitor import AnyPerson, Form, Writer

router = APIRouter(include_in_schema=False)


@router.get("/people/told")
def told_page(request: Request, person: AnyPerson) -> Response:
    """Show somebody's addresses."""
    of = request.query_params.get("of", person.name)
    return _page(request, _allowed(request, person, of), {}, None)


@router.post("/people/told/add")
def add_address(request: Request, form: Form, person: Writer) -> Response:
    """Keep one more address."""
    of = _allowed(request, person, form.get("of", person.name))
    context = context_of(request)
    try:
        address, hint = _address(request, form, needed=True)
        rules = rules_from(form, context.records.setup(), RouteRules())
        label = _label(form)
        now_ms = context.clock.now_ms()
        context.records.add_route(of, address, hint, label, rules, now_ms)
    except UnderlidError as error:
        return _page(request, of, form, error)
    return _back(of, "route")


@router.post("/people/told/{route_id}/change")
def change_address(request: Request, route_id: str, form: Form, person: Writer) -> Response:
    """Change what an address is told, or where it leads."""
    route = _theirs(request, person, route_id)
    context = context_of(request)
    try:
        address, hint = _address(request, form, needed=False)
        rules = rules_from(form, context.records.setup(), route.rules)
        now_ms = context.clock.now_ms()
        context.records.change_route(route.id, _label(form), rules, now_ms, address, hint)
    except UnderlidError as error:
        return _page(request, route.person, form, error, route.id)
    return _back(route.person, "route")


@router.post("/people/told/{route_id}/remove")
def remove_address(request: Request, route_id: str, form: Form, person: AnyPerson) -> Response:
    """Forget an address; who only looks may as well no longer be told."""
    del form
    route = _theirs(request, person, route_id)
    context_of(request).records.remove_route(route.id)
    return _back(route.person, "gone")


@router.post("/people/told/{route_id}/try")
def try_address(request: Request, route_id: str, form: Form, person: Writer) -> Response:
    """Send a test message, and wait a little for what becomes of it."""
    del form
    route = _theirs(request, person, route_id)
    send_trial(context_of(request), route, person.name)
    ended = not any(one.id == route.id for one in context_of(request).records.routes(route.person))
    said = "&said=ended" if ended else f"#route-{route.id}"
    return RedirectResponse(f"/people/told?of={quote(route.person)}{said}", 303)


def _allowed(request: Request, person: Person, of: str) -> str:
    """Return whose addresses are asked for, when *person* may see to them."""
    if of != person.name and person.role != "lead":
        raise Problem(403, "Only a lead may see where somebody else is told.")
    if all(one.name != of for one in context_of(request).records.people()):
        raise Problem(404, "Nobody of this name is here.")
    return of


def _theirs(request: Request, person: Person, route_id: str) -> Route:
    """Return an address that *person* may change."""
    try:
        route = context_of(request).records.route(route_id)
    except UnderlidError:
        raise Problem(404, "There is no such address any more.") from None
    _allowed(request, person, route.person)
    return route


def _address(request: Request, form: Mapping[str, str], *, needed: bool) -> tuple[str, str]:
    """Return the address that was typed, and what may be shown of it; both empty for none."""
    given = form.get("address", "").strip()
    if not given and not needed:
        return "", ""
    try:
        return given, context_of(request).hint_of(given)
    except UnderlidError as error:
        raise FieldError(
            "address",
            "address",
            value=error.value,
            expected=error.expected,
            next_step=error.next_step,
        ) from None


def _label(form: Mapping[str, str]) -> str:
    return text(form, "label", "name of the address", most=LABEL_MOST_CHARS)


def _back(of: str, said: str) -> Response:
    return RedirectResponse(f"/people/told?of={quote(of)}&said={said}", 303)


def _page(
    request: Request,
    of: str,
    form: Mapping[str, str],
    error: UnderlidError | None,
    changed: str = "",
) -> Response:
    """Show somebody's addresses; *form* is what was typed, into that of *changed* or the new one."""
    context = context_of(request)
    person: Person = request.state.person
    setup = context.records.setup()
    marks = context.records.browser_marks(of)
    typed = {name: value for name, value in form.items() if name != "address"}
    values = {
        "of": of,
        "error": error,
        "changed": changed,
        "routes": [_shown(request, one, setup, marks) for one in context.records.routes(of)],
        "own": of == person.name,
        "push_key": context.push_key() if of == person.name and person.role != "reader" else "",
        "new": typed if error and not changed else fields_of(RouteRules(), ""),
        "typed": typed,
        "least": LEAST,
        "waits": WAITS,
        "hours": HOURS,
        "unit_words": UNIT_WORDS,
        "setup": setup,
        "bins_fit": len(setup.bins) + len(setup.sheds) <= PLACES_MOST,
        "no_mail": not context.settings.smtp_url.get_secret_value()
        and not context.settings.several,
        "now_ms": context.clock.now_ms(),
        "quiet_hours": context.settings.quiet_hours,
    }
    return render(request, "told.html", values, 422 if error else 200)


def _shown(
    request: Request, route: Route, setup: Setup, marks: Mapping[str, str]
) -> dict[str, object]:
    """Return one address for the page: its form, its sentence, its last news."""
    return {
        "route": route,
        "mark": marks.get(route.id, ""),
        "fields": fields_of(route.rules, route.label),
        "sentence": told_sentence(route.rules, setup),
        "news": context_of(request).records.last_delivery(route),
        "trial": context_of(request).records.last_delivery(route, Occasion.TRIAL),
    }
