"""A bucket of food before it goes in: a form, and what it would do in each bin. Nothing is kept."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from underlid.binmodel.bins import Bin, Setup
from underlid.errors import UnderlidError
from underlid.journal.entries import Feed
from underlid.journal.portions import exact_text
from underlid.web.bucket import Answer, answer_for
from underlid.web.context import context_of
from underlid.web.forms import choice
from underlid.web.journal_form import ROWS, UNITS, entry_from_form, ingredients
from underlid.web.templating import render, units_of
from underlid.web.visitor import AnyPerson
from underlid.workers.kept_judges import KeptJudges

FIELD_MOST_CHARS: Final = 200

SHEDS_MOST: Final = 8
"""In more sheds than these a bucket is not shared out: nobody carries one so far (our judgement)."""

SHED: Final = "shed:"
"""Before a shed's id where the bucket is shared out in that shed; no id has a colon."""

router = APIRouter(include_in_schema=False)


@router.get("/bucket")
def bucket_page(request: Request, person: AnyPerson) -> Response:
    """Show the form and, once it is filled in, what the bucket would do."""
    del person
    context = context_of(request)
    setup = context.records.setup()
    if not setup.bins:
        return RedirectResponse("/", 303)
    fields = {name: value[:FIELD_MOST_CHARS] for name, value in request.query_params.items()}
    names = {one.id: one.name or one.id for one in setup.bins.values()}
    sheds = _sheds_with_bins(setup)
    places = {**(_shares(sheds) if len(sheds) > 1 else {}), **names}
    error: UnderlidError | None = None
    answer: Answer | None = None
    units = units_of(request)
    if fields:
        try:
            into = choice(fields, "into", "into which bin", {"": "", **places})
            judges: KeptJudges = request.app.state.judges
            feed = _feed(fields, names, context.clock.now_ms())
            answer = answer_for(
                context, judges, _bins(setup, into), feed, into if into in names else ""
            )
        except UnderlidError as refused:
            error = refused
    timezones = {
        one.id: setup.sheds[one.shed].timezone if one.shed in setup.sheds else "UTC"
        for one in setup.bins.values()
    }
    values = {
        "fields": {"unit": "lb" if units.mass == "lb" else "g", **fields},
        "error": error,
        "answer": answer,
        "names": names,
        "places": places,
        "everywhere": "share it out" if len(sheds) <= SHEDS_MOST else "",
        "timezones": timezones,
        "rows": range(1, ROWS + 1),
        "ingredients": ingredients("feed"),
        "write": _write_addresses(answer) if answer else {},
        "mass_units": UNITS,
    }
    return render(request, "bucket.html", values, 422 if error else 200)


def _sheds_with_bins(setup: Setup) -> dict[str, str]:
    """Return the names of the sheds that have bins, by id."""
    return {
        one.shed: setup.sheds[one.shed].name or one.shed if one.shed in setup.sheds else one.shed
        for one in setup.bins.values()
    }


def _shares(sheds: dict[str, str]) -> dict[str, str]:
    return {SHED + shed: f"share it out in {name}" for shed, name in sheds.items()}


def _bins(setup: Setup, into: str) -> dict[str, Bin]:
    """Return the bins that are asked: one's neighbours as well, who may have its liquid."""
    sheds = list(_sheds_with_bins(setup))
    if into in setup.bins:
        sheds = [setup.bins[into].shed]
    elif into:
        sheds = [into.removeprefix(SHED)]
    elif len(sheds) > SHEDS_MOST:
        sheds = sheds[:1]
    return {one.id: one for one in setup.bins.values() if one.shed in sheds}


def _feed(fields: dict[str, str], names: dict[str, str], now_ms: int) -> Feed:
    """Return the bucket, read by the rules of the journal's form."""
    form = {**fields, "kind": "feed", "when": "", "text": ""}
    entry = entry_from_form(
        form, bin_id=next(iter(names)), timezone="UTC", now_ms=now_ms, by="", new_id="bucket"
    )
    assert isinstance(entry.what, Feed)
    return entry.what


def _write_addresses(answer: Answer) -> dict[str, str]:
    """Return where each bin's part is written down, its form filled in; ids and numbers only."""
    addresses = {}
    for one in answer.bins:
        given = [f"bin={one.bin.id}", "kind=feed", "unit=g"]
        for row, portion in enumerate(one.feed.portions, 1):
            given += [f"ingredient_{row}={portion.ingredient}"]
            given += [f"mass_{row}={exact_text(float(round(portion.mass_g)))}"]
        if one.feed.drained_g:
            given.append(f"drained={exact_text(float(round(one.feed.drained_g)))}")
        addresses[one.bin.id] = "/journal/write?" + "&".join(given)
    return addresses
