"""Mappings for other firmware: list, keep, try out, remove; and a short listening at the broker."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field

from underlid.readings.mapping import FILTER_MOST_CHARS, PayloadMapping
from underlid.readings.try_out import trouble_with, try_out
from underlid.storage.mapping_counts import MappingCount
from underlid.timeline import rfc3339
from underlid.web.api.schemas import ProblemBody, when
from underlid.web.context import Context, Ear, context_of
from underlid.web.problem import Problem, not_found
from underlid.web.visitor import AnyCaller, LeadingCaller

TRIED_NAME: Final = "tried"

router = APIRouter(
    prefix="/api/v1",
    tags=["mappings"],
    responses={
        404: {"model": ProblemBody, "description": "No such mapping, or no broker to listen at"},
        422: {"model": ProblemBody, "description": "Not accepted; the detail says why"},
    },
)


class CameBody(BaseModel):
    """What came for a mapping since the process that answers was started."""

    messages: int
    last_at: str | None
    refused: int = Field(description="Of these; a message may give readings and a refusal.")
    refused_at: str | None
    refusal: str = Field(description="The sentence of the last refusal.")

    @classmethod
    def of(cls, count: MappingCount) -> CameBody:
        """Return what was counted as the interface shows it."""
        return cls(
            messages=count.messages,
            last_at=when(count.last_at_ms),
            refused=count.refused,
            refused_at=when(count.refused_at_ms),
            refusal=count.refusal,
        )


class MappingBody(BaseModel):
    """A mapping with its name."""

    name: str
    mapping: PayloadMapping | None = Field(description="Absent when it cannot be used.")
    trouble: str | None = Field(
        description="Why it cannot be used, or gives nothing of its example."
    )
    came: CameBody | None = Field(description="Null of a process that takes no messages in.")


class TriedReading(BaseModel):
    """A reading that would be stored."""

    probe: str
    shed: str
    taken_at: str
    by_receipt: bool = Field(description="The message has no time that can be believed.")
    seq: int | None
    values: dict[str, float]


class Tried(BaseModel):
    """What a mapping makes of its example."""

    readings: list[TriedReading]
    rejected: list[dict[str, str]] = Field(description="Reason and sentence of each refusal.")


class ListenFields(BaseModel):
    """What to listen to."""

    filter: str = Field(max_length=FILTER_MOST_CHARS, description="MQTT topic filter.")


class HeardBody(BaseModel):
    """One message as it came."""

    topic: str
    payload: str = Field(description="As text; what is no UTF-8 is written with backslashes.")
    size_bytes: int
    retained: bool
    at: str


class ListeningBody(BaseModel):
    """How far a listening has come."""

    filter: str
    left_s: float
    count: int
    trouble: str
    messages: list[HeardBody] = Field(description="The newest 20, the newest first.")


@router.get("/mappings")
def list_mappings(request: Request, caller: AnyCaller) -> list[MappingBody]:
    """Return every mapping, those that cannot be used with why."""
    del caller
    return _bodies(context_of(request))


@router.get("/mappings/{name}")
def one_mapping(request: Request, name: str, caller: AnyCaller) -> MappingBody:
    """Return one mapping."""
    del caller
    return _known(context_of(request), name)


@router.put("/mappings/{name}")
def keep_mapping(
    request: Request, name: str, caller: LeadingCaller, mapping: PayloadMapping
) -> MappingBody:
    """Keep a mapping; it counts within a few seconds."""
    del caller
    context = context_of(request)
    context.records.save_mapping(name, mapping)
    return _known(context, name)


@router.delete("/mappings/{name}", status_code=204)
def remove_mapping(request: Request, name: str, caller: LeadingCaller) -> None:
    """Remove a mapping; the readings that it brought stay."""
    del caller
    if not context_of(request).records.remove_mapping(name):
        raise not_found("mapping", name)


@router.post("/mappings/try")
def try_mapping(request: Request, caller: LeadingCaller, mapping: PayloadMapping) -> Tried:
    """Return what a mapping makes of its example; nothing is stored."""
    del caller
    tried = try_out(TRIED_NAME, mapping, context_of(request).clock.now_ms())
    if tried is None:
        raise Problem(422, "The mapping has no example. Give example_topic and example.")
    readings = [
        TriedReading(
            probe=one.probe,
            shed=one.shed,
            taken_at=rfc3339(one.taken_at_ms),
            by_receipt=one.time_source.name != "DEVICE",
            seq=one.seq,
            values=one.values,
        )
        for one in tried.readings
    ]
    rejected = [{"reason": one.reason.value, "sentence": one.sentence} for one in tried.rejected]
    return Tried(readings=readings, rejected=rejected)


@router.post("/listening", status_code=202)
def listen(request: Request, caller: LeadingCaller, fields: ListenFields) -> ListeningBody:
    """Listen at the broker for a minute; what comes is shown and not stored."""
    del caller
    ear = _ear(context_of(request))
    ear.listen(fields.filter)
    return _listening(ear)


@router.get("/listening")
def heard(request: Request, caller: LeadingCaller) -> ListeningBody:
    """Return what has been heard so far, or the last time."""
    del caller
    return _listening(_ear(context_of(request)))


def _ear(context: Context) -> Ear:
    if context.ear is None or not context.ear.has_broker:
        raise Problem(404, "There is no broker to listen at. Set broker_host.")
    return context.ear


def _listening(ear: Ear) -> ListeningBody:
    so_far = ear.heard()
    return ListeningBody(
        filter=so_far.topic_filter,
        left_s=round(so_far.left_s, 1),
        count=so_far.count,
        trouble=so_far.trouble,
        messages=[
            HeardBody(
                topic=one.topic,
                payload=one.payload.decode("utf-8", "backslashreplace"),
                size_bytes=one.size_bytes,
                retained=one.retained,
                at=rfc3339(one.at_ms),
            )
            for one in so_far.messages
        ],
    )


def _bodies(context: Context) -> list[MappingBody]:
    kept = context.records.mappings()
    now_ms = context.clock.now_ms()
    counts = context.recorder.mapping_counts if context.recorder is not None else None

    def came(name: str) -> CameBody | None:
        return None if counts is None else CameBody.of(counts.of(name))

    good = [
        MappingBody(
            name=name, mapping=one, trouble=trouble_with(name, one, now_ms), came=came(name)
        )
        for name, one in kept.good.items()
    ]
    broken = [
        MappingBody(name=name, mapping=None, trouble=why, came=came(name))
        for name, why in kept.broken.items()
    ]
    return [*good, *broken]


def _known(context: Context, name: str) -> MappingBody:
    for body in _bodies(context):
        if body.name == name:
            return body
    raise not_found("mapping", name)
