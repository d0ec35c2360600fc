"""Bins: the list, one bin's state, one bin's curves."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request

from underlid.binmodel.bins import Setup
from underlid.timeline import DAY_MS, SECOND_MS, parse_time_ms, rfc3339
from underlid.web.api.schemas import BinBody, LessonBody, ProblemBody, SeriesBody
from underlid.web.api.service_schema import ServiceFields
from underlid.web.context import context_of
from underlid.web.marks import marks_of, spans_of
from underlid.web.pages.bin import curves_json, forecast_json
from underlid.web.problem import Problem, not_found
from underlid.web.series import POINTS_MOST, curves_of
from underlid.web.visitor import AnyCaller, WritingCaller

SPAN_MOST_MS: Final = 4000 * DAY_MS
"""A little more than the ten years that are kept."""

WEEK_MS: Final = 7 * DAY_MS

router = APIRouter(
    prefix="/api/v1",
    tags=["bins"],
    responses={404: {"model": ProblemBody, "description": "No such bin"}},
)


@router.get("/bins")
def list_bins(request: Request, caller: AnyCaller) -> list[BinBody]:
    """Return every bin."""
    del caller
    records = context_of(request).records
    outs = records.out_of_service()
    return [BinBody.of(one, outs.get(one.id)) for one in records.setup().bins.values()]


@router.get("/bins/{bin_id}")
def one_bin(request: Request, bin_id: str, caller: AnyCaller) -> BinBody:
    """Return one bin."""
    del caller
    return _body(request, bin_id)


@router.put("/bins/{bin_id}/out-of-service")
def take_out(
    request: Request, bin_id: str, caller: WritingCaller, fields: ServiceFields
) -> BinBody:
    """Tell nobody of the bin until a time, or until it is put back."""
    _setup_with(request, bin_id)
    context = context_of(request)
    try:
        until_ms = None if fields.until is None else parse_time_ms(fields.until)
    except (ValueError, OverflowError):
        raise Problem(422, "until must be a time like 2026-05-01T18:30:00Z.") from None
    context.records.take_out(bin_id, until_ms, caller.name, fields.why, context.clock.now_ms())
    return _body(request, bin_id)


@router.delete("/bins/{bin_id}/out-of-service")
def put_back(request: Request, bin_id: str, caller: WritingCaller) -> BinBody:
    """Put the bin back into service; of what is still open people are told now."""
    del caller
    _setup_with(request, bin_id)
    context = context_of(request)
    context.records.put_back(bin_id, context.clock.now_ms())
    return _body(request, bin_id)


def _body(request: Request, bin_id: str) -> BinBody:
    out = context_of(request).records.out_of_service().get(bin_id)
    return BinBody.of(_setup_with(request, bin_id).bins[bin_id], out)


@router.get("/bins/{bin_id}/state")
def bin_state(request: Request, bin_id: str, caller: AnyCaller) -> dict[str, Any]:
    """Return the bin's newest values, verdicts and open alerts, as last judged."""
    del caller
    _setup_with(request, bin_id)
    state = context_of(request).judged.state(bin_id)
    if state is None:
        raise Problem(404, "This bin has not been judged yet. Ask again in a minute.")
    return state


@router.get("/bins/{bin_id}/lessons")
def bin_lessons(request: Request, bin_id: str, caller: AnyCaller) -> dict[str, LessonBody]:
    """Return what the bin has taught: each value with its uncertainty and what it rests on."""
    del caller
    _setup_with(request, bin_id)
    lessons = (context_of(request).judged.state(bin_id) or {}).get("lessons")
    if not isinstance(lessons, dict):
        raise Problem(404, "This bin has not been judged yet. Ask again in a minute.")
    return {name: LessonBody.model_validate(one) for name, one in lessons.items()}


@router.get("/bins/{bin_id}/forecast")
def bin_forecast(request: Request, bin_id: str, caller: AnyCaller) -> dict[str, Any]:
    """Return what is foreseen of the bin for 72 hours, every third hour, with an 80 % band."""
    del caller
    _setup_with(request, bin_id)
    state = context_of(request).judged.state(bin_id)
    forecast = state.get("forecast") if state else None
    if not isinstance(forecast, dict):
        raise Problem(
            404, "Nothing is foreseen of this bin yet. Ask again when it has been measured."
        )
    return {"bin": bin_id, **forecast}


@router.get("/bins/{bin_id}/series")
def bin_series(
    request: Request,
    bin_id: str,
    caller: AnyCaller,
    start: Annotated[str, Query(alias="from", description="RFC 3339; default a week ago")] = "",
    until: Annotated[str, Query(description="RFC 3339; default now")] = "",
    points: Annotated[int, Query(ge=1, le=POINTS_MOST, description="At most so many steps")] = 700,
) -> SeriesBody:
    """Return lowest, mean and highest value of every channel per step, computed ones included."""
    del caller
    context = context_of(request)
    setup = _setup_with(request, bin_id)
    until_ms = _time_ms("until", until, context.clock.now_ms())
    start_ms = _time_ms("from", start, until_ms - WEEK_MS)
    if not 0 < until_ms - start_ms <= SPAN_MOST_MS:
        raise Problem(422, "from must be before until, and not more than eleven years.")
    curves = curves_of(context, setup, bin_id, start_ms, until_ms, points)
    columns = curves_json(curves)
    return SeriesBody(
        bin=bin_id,
        start=rfc3339(columns["start_ms"]),
        step_s=curves.step_ms / SECOND_MS,
        points=columns["points"],
        channels=columns["channels"],
        marks=marks_of(context, bin_id, start_ms, until_ms),
        spans=spans_of(context, bin_id, start_ms, until_ms),
        forecast=forecast_json(context, bin_id),
    )


def _setup_with(request: Request, bin_id: str) -> Setup:
    """Return the set-up, which has *bin_id* in it."""
    setup = context_of(request).records.setup()
    if bin_id not in setup.bins:
        raise not_found("bin", bin_id)
    return setup


def _time_ms(name: str, text: str, otherwise_ms: int) -> int:
    """Return a time of the query."""
    if not text:
        return otherwise_ms
    try:
        at_ms = parse_time_ms(text.replace(" ", "+"))
    except (ValueError, OverflowError):
        at_ms = -1
    if not 0 <= at_ms < 32_503_680_000_000:
        raise Problem(422, f"{name} must be a time like 2026-05-01T18:30:00Z.")
    return at_ms
