"""Readings on their way to a server: how many wait, and those it refused."""

from __future__ import annotations

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field

from underlid.web.api.schemas import when
from underlid.web.context import context_of
from underlid.web.visitor import AnyCaller, LeadingCaller

MOST = 1000

router = APIRouter(prefix="/api/v1", tags=["readings"])


class RefusedBody(BaseModel):
    """A reading that was acknowledged and that InfluxDB did not take."""

    probe: str
    taken_at: str | None
    values: dict[str, float]
    said: str = Field(description="InfluxDB's own words.")
    refused_at: str | None


class BacklogBody(BaseModel):
    """What this worker has taken in and InfluxDB does not have."""

    waiting: int
    refused: int
    trouble: str | None
    rows: list[RefusedBody] = Field(description=f"The newest refusals, {MOST} at most.")


class Resent(BaseModel):
    """How many readings are sent again."""

    again: int


@router.get("/readings/refused")
def refused(request: Request, caller: AnyCaller) -> BacklogBody:
    """Return what this worker has not got rid of."""
    del caller
    readings = context_of(request).readings
    backlog = readings.backlog()
    return BacklogBody(
        waiting=backlog.waiting,
        refused=backlog.refused,
        trouble=backlog.trouble,
        rows=[
            RefusedBody(
                probe=one.reading.probe,
                taken_at=when(one.reading.taken_at_ms),
                values=one.reading.values,
                said=one.said,
                refused_at=when(one.refused_at_ms),
            )
            for one in readings.refused_rows(MOST)
        ],
    )


@router.post("/readings/refused/retry")
def retry(request: Request, caller: LeadingCaller) -> Resent:
    """Send every refused reading again."""
    del caller
    return Resent(again=context_of(request).readings.retry_refused())
