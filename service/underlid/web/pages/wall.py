"""One bin on one sheet of paper, to be pinned up beside it: no menu, no script, black on white."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import Response

from underlid.binmodel.bins import Setup
from underlid.journal.entries import Feed
from underlid.journal.units import US, Units, fahrenheit
from underlid.science.numeric import Floats
from underlid.timeline import DAY_MS
from underlid.web.context import Context, context_of
from underlid.web.lessons import lessons_in
from underlid.web.pages.places import COMMON_NAMES, SPECIES
from underlid.web.problem import not_found
from underlid.web.series import Curves, curves_of
from underlid.web.strip import Line, strip_svg
from underlid.web.templating import render, units_of
from underlid.web.view import bin_view
from underlid.web.visitor import AnyPerson

BACK_MS: Final = 14 * DAY_MS
"""Two weeks: a few feeds, and a bed that dries; also as far as computed channels reach back."""

POINTS: Final = 170
FEEDS_MOST: Final = 4
ENTRIES_MOST: Final = 200
"""Searched for those feeds."""

ALERTS_MOST: Final = 3
TAUGHT: Final = (
    "eaten_g_d",
    "herd_times",
    "drying_pct_d",
    "drying_pct_d_kpa",
    "moisture_sd_pct",
    "time_constant_h",
    "lid_factor",
)
"""Lessons by their use to whoever stands before the bin, most useful first (our judgement)."""

LESSONS_MOST: Final = 4
"""So many go on one sheet together with the rest."""

router = APIRouter(include_in_schema=False)


@router.get("/bin/{bin_id}/wall")
def wall_page(request: Request, bin_id: str, person: AnyPerson) -> Response:
    """Show one bin as a sheet to print."""
    del person
    context = context_of(request)
    setup = context.records.setup()
    if bin_id not in setup.bins:
        raise not_found("bin", bin_id)
    now_ms = context.clock.now_ms()
    units = units_of(request)
    view = bin_view(context, setup, bin_id, context.records.open_alerts(bin_id), units)
    entries = context.records.entries(bin=bin_id, until_ms=now_ms + 1, most=ENTRIES_MOST)
    state: dict[str, Any] = context.judged.state(bin_id) or {}
    lessons = lessons_in(state, units)
    feeds = [entry for entry in entries if isinstance(entry.what, Feed)]
    return render(
        request,
        "wall.html",
        {
            "view": view,
            "now_ms": now_ms,
            "species": [
                f"{SPECIES[one.value]} ({COMMON_NAMES[one.value]})" for one in view.bin.species
            ],
            "strips": _strips(
                context, setup, bin_id, [entry.at_ms for entry in feeds], now_ms, units
            ),
            "feeds": feeds[:FEEDS_MOST],
            "alerts": view.alerts[:ALERTS_MOST],
            "more_alerts": len(view.alerts[ALERTS_MOST:]),
            "lessons": [
                lessons[name]["text"] for name in TAUGHT if lessons.get(name, {}).get("learnt")
            ][:LESSONS_MOST],
            "origin": context.settings.web_origin,
        },
    )


def _strips(
    context: Context, setup: Setup, bin_id: str, fed_ms: list[int], now_ms: int, units: Units
) -> list[tuple[str, Markup]]:
    """Return the pictures of the last two weeks of which something is known, with their titles."""
    curves = curves_of(context, setup, bin_id, now_ms - BACK_MS, now_ms, POINTS)
    one = setup.bins[bin_id]
    shed = setup.sheds.get(one.shed)
    timezone = shed.timezone if shed else "UTC"
    degree = "°F" if units is US else "°C"

    def temp(channel: str) -> Floats:
        values_c = _means(curves, channel)
        return np.array([fahrenheit(one) for one in values_c]) if units is US else values_c

    drawn = (
        (
            f"Temperature, {degree}",
            [Line("bed", temp("bed_temp_c")), Line("shed air", temp("shed_temp_c"))],
            {"least": 8.0},
        ),
        (
            "Moisture of the bed, % (dotted: to keep)",
            [Line("bed", _means(curves, "moisture_pct"))],
            {"least": 12.0, "level": one.target_moisture_pct},
        ),
        (
            "Water on the lid, g/m²",
            [Line("lid", _means(curves, "lid_film_g_m2"))],
            {"least": 60.0, "low": 0.0},
        ),
    )
    pictures = [
        (title, strip_svg(title, lines, curves.start_ms, timezone, fed_ms, **more))
        for title, lines, more in drawn
    ]
    return [(title, picture) for title, picture in pictures if picture is not None]


def _means(curves: Curves, channel: str) -> Floats:
    """Return a channel's means over the steps."""
    band = curves.bands.get(channel)
    return band.mean if band is not None else np.full(len(curves.start_ms), np.nan)
