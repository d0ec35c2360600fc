"""The weather outside a shed, supplied by a program that has a forecast."""

from __future__ import annotations

from typing import Annotated, Final

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field

from underlid.binmodel.outlook.weather import COLDEST_C, HOTTEST_C, WeatherRow
from underlid.timeline import parse_time_ms
from underlid.web.api.schemas import ProblemBody
from underlid.web.context import context_of
from underlid.web.problem import Problem, not_found
from underlid.web.visitor import LeadingCaller

HOURS_MOST: Final = 1000

router = APIRouter(
    prefix="/api/v1",
    tags=["weather"],
    responses={404: {"model": ProblemBody, "description": "No such shed"}},
)


class WeatherHour(BaseModel):
    """The air outside at one moment, measured or forecast."""

    time: str = Field(examples=["2026-05-01T18:00:00Z"])
    temp_c: float = Field(ge=COLDEST_C, le=HOTTEST_C, examples=[14.5])


class WeatherKept(BaseModel):
    """How many of the hours were new."""

    shed: str
    new: int


@router.put("/sheds/{shed_id}/weather")
def put_weather(
    request: Request,
    shed_id: str,
    caller: LeadingCaller,
    hours: Annotated[list[WeatherHour], Field(min_length=1, max_length=HOURS_MOST)],
) -> WeatherKept:
    """Keep hours of the weather outside a shed: past ones to learn from, coming ones to foresee with."""
    del caller
    context = context_of(request)
    if shed_id not in context.records.setup().sheds:
        raise not_found("shed", shed_id)
    now_ms = context.clock.now_ms()
    rows = [WeatherRow(_time_ms(hour.time), now_ms, hour.temp_c) for hour in hours]
    return WeatherKept(shed=shed_id, new=context.records.save_weather(shed_id, rows))


def _time_ms(text: str) -> int:
    try:
        return parse_time_ms(text)
    except (ValueError, OverflowError):
        raise Problem(422, f"time must be like 2026-05-01T18:30:00Z, not {text[:40]}.") from None
