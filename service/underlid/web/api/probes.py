"""The probes: the list with last values, and where each sits."""

from __future__ import annotations

from dataclasses import replace

from fastapi import APIRouter, Request

from underlid.binmodel.bins import Setup
from underlid.errors import UnderlidError
from underlid.web.api.schemas import PlaceFields, ProbeBody, ProblemBody, when
from underlid.web.context import Context, context_of
from underlid.web.problem import not_found
from underlid.web.visitor import AnyCaller, LeadingCaller

router = APIRouter(
    prefix="/api/v1",
    tags=["probes"],
    responses={404: {"model": ProblemBody, "description": "No such probe"}},
)


@router.get("/probes")
def list_probes(request: Request, caller: AnyCaller) -> list[ProbeBody]:
    """Return every probe that was heard of or placed."""
    del caller
    context = context_of(request)
    return _bodies(context, context.records.setup())


@router.get("/probes/{probe}")
def one_probe(request: Request, probe: str, caller: AnyCaller) -> ProbeBody:
    """Return one probe."""
    del caller
    return _known(context_of(request), probe)


@router.put("/probes/{probe}/place")
def place_probe(
    request: Request, probe: str, caller: LeadingCaller, fields: PlaceFields
) -> ProbeBody:
    """Say where a probe sits; without a bin it becomes its shed's air probe."""
    del caller
    records = context_of(request).records
    setup = records.setup()
    if fields.shed not in setup.sheds:
        raise UnderlidError(
            "shed", value=fields.shed, expected="the id of a shed", next_step="Make it first."
        )
    bin_shed = setup.bins[fields.bin].shed if fields.bin in setup.bins else fields.shed
    if bin_shed != fields.shed:
        raise UnderlidError(
            "shed",
            value=fields.shed,
            expected=f"the shed of the bin, {bin_shed}",
            next_step="Correct one of the two.",
        )
    records.place_probe(fields.place(probe, setup.probes.get(probe)))
    if fields.bin is None:
        records.save_shed(replace(setup.sheds[fields.shed], air_probe=probe))
    return _known(context_of(request), probe)


@router.delete("/probes/{probe}/place")
def unplace_probe(request: Request, probe: str, caller: LeadingCaller) -> ProbeBody:
    """Take a probe out of its place; its readings stay."""
    del caller
    context = context_of(request)
    before = _known(context, probe)
    for shed in context.records.setup().sheds.values():
        if shed.air_probe == probe:
            context.records.save_shed(replace(shed, air_probe=None))
    context.records.unplace_probe(probe)
    return before.model_copy(update={"claimed": False, "bin": None, "depth_cm": None})


def _known(context: Context, probe: str) -> ProbeBody:
    for body in _bodies(context, context.records.setup()):
        if body.id == probe:
            return body
    raise not_found("probe", probe)


def _bodies(context: Context, setup: Setup) -> list[ProbeBody]:
    """Return every probe as the interface shows it."""
    seen = {one.probe: one for one in context.readings.probes_seen()}
    statuses = context.records.probe_statuses()
    bodies = []
    for name in sorted({*seen, *setup.probes, *statuses}):
        place, last, status = setup.probes.get(name), seen.get(name), statuses.get(name)
        shed = place.shed if place else last.shed if last else status.shed if status else ""
        bodies.append(
            ProbeBody(
                id=name,
                shed=shed,
                bin=place.bin if place else None,
                claimed=place is not None,
                depth_cm=place.depth_cm if place else None,
                last_at=when(last.last_taken_at_ms if last else None),
                last_received_at=when(last.last_received_at_ms if last else None),
                last_values=last.last_values if last else {},
                online=status.online if status else None,
            )
        )
    return bodies
