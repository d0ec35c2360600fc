"""The first page: every bin cut open, those that need somebody first, one sentence on top."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from underlid.web.context import context_of
from underlid.web.first import first_sentence
from underlid.web.templating import render, units_of
from underlid.web.view import views
from underlid.web.visitor import AnyPerson

router = APIRouter(include_in_schema=False)


@router.get("/")
def shed_page(request: Request, person: AnyPerson) -> Response:
    """Show all sheds with their bins, or how to begin."""
    del person
    context = context_of(request)
    setup = context.records.setup()
    if not setup.bins:
        unclaimed = [
            seen for seen in context.readings.probes_seen() if seen.probe not in setup.probes
        ]
        values = {"sheds": list(setup.sheds.values()), "unclaimed": len(unclaimed)}
        return render(request, "begin.html", values)
    all_views = views(context, setup, units_of(request))
    order = {view.bin.shed: place for place, view in reversed(list(enumerate(all_views)))}
    by_shed = [
        (shed, [view for view in all_views if view.bin.shed == shed.id])
        for shed in sorted(setup.sheds.values(), key=lambda shed: order.get(shed.id, 0))
    ]
    return render(
        request,
        "shed.html",
        {
            "sentence": first_sentence(all_views),
            "tone": all_views[0].tone,
            "sheds": [(shed, own) for shed, own in by_shed if own],
            "now_ms": context.clock.now_ms(),
        },
    )
