"""POST /api/v1/readings: the same packs as over MQTT; the answer comes after the commit."""

from __future__ import annotations

import asyncio
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request

from underlid.readings.admission import PAYLOAD_MOST_BYTES
from underlid.readings.channels import is_id
from underlid.readings.values import RawMessage
from underlid.storage.recorder import Outcome
from underlid.web.api.schemas import ProblemBody, Taken
from underlid.web.context import context_of
from underlid.web.problem import Problem
from underlid.web.visitor import WritingCaller

KINDS: Final = {
    "application/senml+json": "senml",
    "application/senml+cbor": "senml",
    "application/json": "json",
}
BUSY_RETRY_S: Final = "2"
SHOWN_MOST: Final = 20
"""Refusals told in one answer; the probes page has the newest of all."""

router = APIRouter(prefix="/api/v1", tags=["readings"])


@router.post(
    "/readings",
    responses={
        415: {"model": ProblemBody, "description": "Not one of the three media types"},
        503: {"model": ProblemBody, "description": "Nothing was stored; send it again later"},
    },
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {
                kind: {"schema": {"type": "array", "items": {"type": "object"}}}
                for kind in ("application/senml+json", "application/json")
            }
            | {"application/senml+cbor": {"schema": {"type": "string", "format": "binary"}}},
        }
    },
)
async def post_readings(
    request: Request,
    caller: WritingCaller,
    shed: Annotated[str, Query(description="The shed the probe belongs to")],
    probe: Annotated[str, Query(description="The probe")],
) -> Taken:
    """Store a pack of readings; answered once it is on disk."""
    del caller
    media_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media_type not in KINDS:
        raise Problem(415, f"Send one of {', '.join(KINDS)}; this is {media_type[:60] or 'none'}.")
    for what, value in (("shed", shed), ("probe", probe)):
        if not is_id(value):
            raise Problem(422, f"The {what} must be a-z, 0-9, - and _, at most 64 characters.")
    payload = await request.body()
    if len(payload) > PAYLOAD_MOST_BYTES:
        raise Problem(413, f"A pack may have {PAYLOAD_MOST_BYTES} bytes. Send it in parts.")
    topic = f"underlid/v1/{shed}/{probe}/{KINDS[media_type]}"
    context = context_of(request)
    outcome = await _stored(request, RawMessage(topic, payload, context.clock.now_ms()))
    if outcome.error is not None:
        raise outcome.error
    admitted = outcome.admitted
    if admitted.rejected and not admitted.readings:
        raise Problem(422, admitted.rejected[0].sentence)
    return Taken(
        accepted=len(admitted.readings),
        rejected=[
            {"reason": one.reason.value, "sentence": one.sentence}
            for one in admitted.rejected[:SHOWN_MOST]
        ],
    )


async def _stored(request: Request, message: RawMessage) -> Outcome:
    """Give *message* to the recorder and wait until it is on disk or refused."""
    loop = asyncio.get_running_loop()
    answer: asyncio.Future[Outcome] = loop.create_future()

    def settle(outcome: Outcome) -> None:
        if not answer.done():
            answer.set_result(outcome)

    def done(outcome: Outcome) -> None:
        loop.call_soon_threadsafe(settle, outcome)

    recorder = context_of(request).recorder
    if recorder is None:
        raise Problem(
            503, "This worker takes no readings. Send them to one that does.", "Elsewhere"
        )
    if not recorder.submit([message], done):
        detail = "Too much is waiting to be stored. Nothing of this was taken; send it again."
        raise Problem(503, detail, "Busy", {"retry-after": BUSY_RETRY_S})
    return await answer
