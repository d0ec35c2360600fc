"""Looking back at a bin: its spells, and what each feed did, hour by hour."""

from __future__ import annotations

import math
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field

from underlid.alerts.alert import Spell
from underlid.binmodel.bins import Setup
from underlid.journal.summary import summary
from underlid.lookback.feed_stories import FeedStory
from underlid.science.numeric import Floats
from underlid.timeline import DAY_MS, HOUR_MS, parse_time_ms, rfc3339
from underlid.web.api.schemas import ProblemBody, when
from underlid.web.context import Context, context_of
from underlid.web.problem import Problem, not_found
from underlid.web.stories import stories_of
from underlid.web.visitor import AnyCaller

SPAN_MS: Final = 400 * DAY_MS
"""So far back without `from`: a year and the days around it."""

ENTRIES_MOST: Final = 1000
STORIES_MOST: Final = 60
"""At a time: each is worked out anew from the readings."""

router = APIRouter(
    prefix="/api/v1/bins/{bin_id}",
    tags=["bins"],
    responses={404: {"model": ProblemBody, "description": "No such bin"}},
)


class SpellBody(BaseModel):
    """A stretch of time in which one condition held."""

    condition: str
    began: str
    ended: str | None = Field(description="Null while it lasts.")
    duration_h: float
    grade: str = Field(description="Of a wet lid: what it was told by.")
    peak: float | None = Field(description="Film g/m², bed °C or moisture %: the worst value.")
    water_g_m2: float | None = Field(description="What condensed on the lid.")
    feed_at: str | None = Field(description="The feed it is put down to.")


class StoryBody(BaseModel):
    """One feed, and what the bin did until the next one or for ten days."""

    entry: str = Field(description="Id of the feed in the journal.")
    fed_at: str
    until: str
    what: str = Field(description="In words, SI.")
    mass_g: float = Field(description="Without what was drained off.")
    water_g: float = Field(description="By typical values of the ingredients.")
    dry_g: float
    bedding_g: float
    peak_warmth_k: float | None = Field(description="The bed's own warmth at its greatest.")
    peak_after_h: int | None
    wet_lid_h: float
    lid_water_g_m2: float | None
    moisture_change_pct: float | None = Field(description="In points, at the end.")
    climbers: str | None = Field(description="The most that were seen.")
    hourly_warmth_k: list[float | None]
    hourly_moisture_change_pct: list[float | None]


@router.get("/spells")
def list_spells(
    request: Request,
    bin_id: str,
    caller: AnyCaller,
    start: Annotated[str, Query(alias="from")] = "",
    until: str = "",
) -> list[SpellBody]:
    """Return the spells that touch a stretch of time, oldest first; without one the last 400 days."""
    del caller
    context = context_of(request)
    _setup_with(context, bin_id)
    now_ms = context.clock.now_ms()
    until_ms = _time_ms("until", until, now_ms + 1)
    start_ms = _time_ms("from", start, until_ms - SPAN_MS)
    spells = context.records.spells(bin_id, start_ms, until_ms)
    return [_spell(one, now_ms) for one in spells]


@router.get("/stories")
def list_stories(
    request: Request,
    bin_id: str,
    caller: AnyCaller,
    most: Annotated[int, Query(ge=1, le=STORIES_MOST)] = 6,
) -> list[StoryBody]:
    """Return what the newest feeds did, newest first."""
    del caller
    context = context_of(request)
    setup = _setup_with(context, bin_id)
    now_ms = context.clock.now_ms()
    entries = context.records.entries(bin=bin_id, most=ENTRIES_MOST)
    spells = context.records.spells(bin_id, now_ms - SPAN_MS, now_ms + 1)
    return [_story(one) for one in stories_of(context, setup, bin_id, entries, spells, most)]


def _spell(one: Spell, now_ms: int) -> SpellBody:
    end_ms = now_ms if one.ended_ms is None else one.ended_ms
    return SpellBody(
        condition=one.condition.value,
        began=rfc3339(one.began_ms),
        ended=when(one.ended_ms),
        duration_h=round((end_ms - one.began_ms) / HOUR_MS, 3),
        grade=one.grade,
        peak=one.peak,
        water_g_m2=one.water_g_m2,
        feed_at=when(one.feed_at_ms),
    )


def _story(one: FeedStory) -> StoryBody:
    peak_k, peak_h = one.peak or (None, None)
    mass_g = one.feed.mass_g
    return StoryBody(
        entry=one.entry.id,
        fed_at=rfc3339(one.entry.at_ms),
        until=rfc3339(one.until_ms),
        what=summary(one.entry),
        mass_g=round(mass_g, 1),
        water_g=round(one.water_g, 1),
        dry_g=round(max(0.0, mass_g - one.water_g), 1),
        bedding_g=round(one.bedding_g, 1),
        peak_warmth_k=None if peak_k is None else round(peak_k, 2),
        peak_after_h=peak_h,
        wet_lid_h=round(one.wet_lid_h, 2),
        lid_water_g_m2=one.lid_water_g_m2,
        moisture_change_pct=_rounded(one.moisture_end_pct),
        climbers=one.climbers.value if one.climbers else None,
        hourly_warmth_k=_hours(one.warmth_k),
        hourly_moisture_change_pct=_hours(one.moisture_change_pct),
    )


def _hours(values: Floats) -> list[float | None]:
    return [None if math.isnan(one) else round(one, 2) for one in values.tolist()]


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _time_ms(name: str, given: str, otherwise: int) -> int:
    if not given:
        return otherwise
    try:
        return parse_time_ms(given)
    except (ValueError, OverflowError):
        raise Problem(422, f"{name} must be a time like 2026-05-01T18:30:00Z.") from None


def _setup_with(context: Context, bin_id: str) -> Setup:
    setup = context.records.setup()
    if bin_id not in setup.bins:
        raise not_found("bin", bin_id)
    return setup
