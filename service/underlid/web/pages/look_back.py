"""Looking back at one bin: its feeds laid over each other, its spells, and everything as files."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Final

from fastapi import APIRouter, Request
from starlette.responses import Response, StreamingResponse

from underlid.alerts.alert import Spell
from underlid.binmodel.bins import Setup
from underlid.files.journal_csv import write_journal
from underlid.files.readings_csv import reading_lines
from underlid.journal.entries import Entry, Feed
from underlid.journal.units import US, Units
from underlid.rules.finding import Condition
from underlid.science.numeric import Floats
from underlid.storage.history import stored_readings
from underlid.timeline import DAY_MS
from underlid.web.context import Context, context_of
from underlid.web.overlay import overlay_svg
from underlid.web.problem import Problem, not_found
from underlid.web.series import places_of
from underlid.web.stories import stories_of
from underlid.web.templating import render, units_of
from underlid.web.visitor import AnyPerson
from underlid.web.wording import channel_value

STORIES_MOST: Final = 6
"""Feeds in one picture; more cannot be told apart."""

ENTRIES_MOST: Final = 1000
SPELLS_MOST: Final = 40
SPELLS_MS: Final = 400 * DAY_MS
DONE_MOST: Final = 4
"""Entries quoted for one spell."""

FILE_DAYS: Final = {"31": "31 days", "366": "a year", "3660": "all"}
PAGE: Final = 5000

router = APIRouter(include_in_schema=False)


@router.get("/bin/{bin_id}/back")
def back_page(request: Request, bin_id: str, person: AnyPerson) -> Response:
    """Show the feeds of a bin over each other, and its spells."""
    del person
    context = context_of(request)
    setup = _setup_with(context, bin_id)
    now_ms = context.clock.now_ms()
    units = units_of(request)
    entries = context.records.entries(bin=bin_id, most=ENTRIES_MOST)
    spells = context.records.spells(bin_id, now_ms - SPELLS_MS, now_ms + 1)
    stories = stories_of(context, setup, bin_id, entries, spells, STORIES_MOST)
    state: dict[str, Any] = context.judged.state(bin_id) or {}
    warm = [_steps(story.warmth_k, units) for story in stories]
    moist = [story.moisture_change_pct for story in stories]
    degree = "°F" if units is US else "°C"
    shed = setup.sheds.get(setup.bins[bin_id].shed)
    return render(
        request,
        "back.html",
        {
            "bin": setup.bins[bin_id],
            "name": setup.bins[bin_id].name or bin_id,
            "timezone": shed.timezone if shed else "UTC",
            "now_ms": now_ms,
            "stories": stories,
            "feeding": state.get("feeding"),
            "pictures": [
                (title, unit, picture)
                for title, unit, picture in (
                    ("The bed's own warmth", degree, overlay_svg("Warmth", degree, warm, 4.0)),
                    (
                        "Moisture since the feed",
                        "points",
                        overlay_svg("Moisture", "points", moist, 4.0),
                    ),
                )
                if picture is not None
            ],
            "spells": [
                (one, _worst(one, units), _meanwhile(entries, one, now_ms))
                for one in spells[::-1][:SPELLS_MOST]
            ],
            "file_days": FILE_DAYS,
        },
    )


@router.get("/bin/{bin_id}/readings.csv")
def readings_file(request: Request, bin_id: str, person: AnyPerson) -> Response:
    """Send the raw readings of everything that says something of a bin, as they come off the disk."""
    del person
    context = context_of(request)
    setup = _setup_with(context, bin_id)
    days = request.query_params.get("days", "31")
    if days not in FILE_DAYS:
        raise Problem(422, f"days must be one of {', '.join(FILE_DAYS)}.")
    end_ms = context.clock.now_ms() + 1
    probes = {place.probe: place.shed for place in places_of(setup, bin_id)}
    firsts = [
        one.first_taken_at_ms for one in context.readings.probes_seen() if one.probe in probes
    ]
    start_ms = max(end_ms - int(days) * DAY_MS, min(firsts, default=end_ms))
    readings = stored_readings(context.readings, probes, start_ms, end_ms)
    return _file(reading_lines(readings), f"{bin_id}-readings.csv")


@router.get("/bin/{bin_id}/journal.csv")
def journal_file(request: Request, bin_id: str, person: AnyPerson) -> Response:
    """Send the newest version of every entry of a bin."""
    del person
    context = context_of(request)
    _setup_with(context, bin_id)
    text = io.StringIO()
    write_journal(text, sorted(_all_entries(context, bin_id), key=lambda one: (one.at_ms, one.id)))
    return _file(iter([text.getvalue()]), f"{bin_id}-journal.csv")


def _steps(values_k: Floats, units: Units) -> Floats:
    """Return differences of temperature as the keeper reads them."""
    return values_k * 1.8 if units is US else values_k


def _worst(spell: Spell, units: Units) -> str:
    """Return a spell's worst value with its unit."""
    if spell.peak is None:
        return "–"
    if spell.condition is Condition.CONDENSATION:
        return f"{spell.peak:.0f} g/m²"
    hot_or_cold = spell.condition in (Condition.OVERHEATING, Condition.TOO_COLD)
    return channel_value(spell.peak, "bed_temp_c" if hot_or_cold else "moisture_pct", units)


def _meanwhile(entries: list[Entry], spell: Spell, now_ms: int) -> list[Entry]:
    """Return what was done and seen while a spell lasted, oldest first, feeds left out."""
    until_ms = spell.ended_ms or now_ms
    here = [
        one
        for one in reversed(entries)
        if spell.began_ms <= one.at_ms <= until_ms and not isinstance(one.what, Feed)
    ]
    return [replace(one, text="") for one in here[:DONE_MOST]]


def _all_entries(context: Context, bin_id: str) -> Iterator[Entry]:
    before: str | None = None
    while True:
        page = context.records.entries(bin_id, most=PAGE, before=before)
        yield from page
        if len(page) < PAGE:
            return
        before = page[-1].id


def _file(lines: Iterator[str], name: str) -> Response:
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return StreamingResponse(lines, media_type="text/csv; charset=utf-8", headers=headers)


def _setup_with(context: Context, bin_id: str) -> Setup:
    setup = context.records.setup()
    if bin_id not in setup.bins:
        raise not_found("bin", bin_id)
    return setup
