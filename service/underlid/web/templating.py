"""Turns a template and its values into a page. Everything is escaped; nothing is undefined.

Values that every page needs (who is here, the menu, the file addresses, the form token) are added
here; how a number is worded is in `wording.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse

from underlid.journal.units import Units, units_named
from underlid.readings.channels import CHANNELS
from underlid.web import sayings, verdicts, wording
from underlid.web.context import context_of
from underlid.web.evidence import evidence_text
from underlid.web.tokens import form_token

FOLDER: Final = Path(__file__).parent / "templates"

MENU: Final = (
    ("/", "Shed"),
    ("/journal", "Journal"),
    ("/alerts", "Alerts"),
    ("/probes", "Probes"),
    ("/places", "Places"),
)

SAID: Final = {
    "entry": "Written down.",
    "corrected": "Corrected. The earlier version stays in the history.",
    "withdrawn": "Withdrawn. It no longer counts, and stays in the history.",
    "photos": "Kept with the entry.",
    "described": "It says so now.",
    "photo_removed": "Taken off the entry; it stays in the history.",
    "photo_erased": "Erased for good. Backups made before still have it.",
    "acknowledged": "Noted that you have seen it.",
    "shelved": "It will be quiet until then.",
    "placed": "The probe has its place.",
    "out": "Out of service: nobody is told of this bin until it is put back.",
    "in": "In service again; of what is still open people are told now.",
    "calibrated": "Kept: its values are put right by it.",
    "unplaced": "The probe is unclaimed again; its readings stay.",
    "secret_ended": "The secret is ended; whoever knows it is sent away from the door.",
    "retried": "It will be sent again.",
    "resent": "They are sent again; those that are refused again come back here.",
    "shed": "The shed is kept.",
    "bin": "The bin is kept.",
    "passphrase": "Your passphrase is changed; other browsers must log in again.",
    "person": "They can come in now.",
    "route": "The address is kept.",
    "ended": "The browser has ended its subscription; the address was removed.",
    "forgotten": "The message is forgotten.",
    "gone": "Gone.",
    "mapping": "The mapping is kept. It counts within a few seconds, for messages that come from then on.",
    "mapping_gone": "The mapping is gone; the readings that it brought stay.",
}
"""What a page says after a form, by the word in its address; nothing else is ever shown."""

UNITS_COOKIE: Final = "underlid_units"


def units_name_of(request: Request) -> str:
    """Return what this browser has chosen, else the place's own units."""
    return request.cookies.get(UNITS_COOKIE) or context_of(request).settings.units


def units_of(request: Request) -> Units:
    """Return the units this browser's keeper reads."""
    return units_named(units_name_of(request))


@cache
def environment() -> Environment:
    """Return the one Jinja environment."""
    from underlid.web.static import address

    made = Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["file"] = address
    made.globals["known_channels"] = frozenset(CHANNELS)
    made.filters.update(wording.FILTERS | sayings.FILTERS | verdicts.FILTERS)
    made.filters["evidence_text"] = evidence_text
    return made


def render(
    request: Request, template: str, values: Mapping[str, object], status: int = 200
) -> HTMLResponse:
    """Return *template* as a page."""
    person = getattr(request.state, "person", None)
    cookie = getattr(request.state, "cookie", "")
    every_page = {
        "person": person,
        "menu": MENU if person is not None else (),
        "path": request.url.path,
        "form_token": form_token(cookie) if cookie else "",
        "may_write": person is not None and person.role != "reader",
        "may_set_up": person is not None and person.role == "lead",
        "units": units_of(request),
        "units_name": units_name_of(request),
        "told": context_of(request).live.told,
        "said": SAID.get(request.query_params.get("said", ""), ""),
    }
    text = environment().get_template(template).render({**every_page, **values})
    return HTMLResponse(text, status)
