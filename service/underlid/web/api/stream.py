"""GET /api/v1/live: server-sent events of new readings, judgements and journal entries.

Readings are told with the values as they are shown (calibrated, with their bin). The set-up that
this needs is read again when its revision has changed, at most every few seconds.
"""

from __future__ import annotations

import json
from collections.abc import AsyncIterator
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response, StreamingResponse

from underlid.binmodel.bins import Setup
from underlid.clock import monotonic_s
from underlid.timeline import rfc3339
from underlid.web.context import Context, context_of
from underlid.web.live import Event, Stream
from underlid.web.problem import Problem
from underlid.web.series import AIR_CHANNELS, MOISTURE, believed_now, moisture_shift_pct
from underlid.web.visitor import caller_of

KEEP_ALIVE_S: Final = 20.0
"""A comment this often keeps proxies and phones from cutting a quiet stream off."""

SETUP_FRESH_S: Final = 2.0
SHIFT_FRESH_S: Final = 30.0
"""What samples in the journal add to a moisture is learnt once a day, or with an entry."""

RETRY_MS: Final = 3000

router = APIRouter(prefix="/api/v1", tags=["live"])


@router.get(
    "/live",
    dependencies=[Depends(caller_of)],
    response_class=Response,
    responses={
        200: {
            "description": "A stream of events: reading, rejected, judged, journal, look",
            "content": {"text/event-stream": {"schema": {"type": "string"}}},
        }
    },
)
async def live(
    request: Request,
    bin_id: Annotated[str, Query(alias="bin", description="Only this bin")] = "",
    told: Annotated[int | None, Query(description="The number in the page that listens")] = None,
) -> Response:
    """Send what happens while it happens; `look` means that events were left out."""
    context = context_of(request)
    stream = context.live.open()
    if stream is None:
        raise Problem(503, "Too many pages are listening. Close some.", "", {"retry-after": "10"})
    return StreamingResponse(
        _lines(context, stream, bin_id, told is not None and told < context.live.told),
        media_type="text/event-stream",
        headers={"cache-control": "no-store", "x-accel-buffering": "no"},
    )


async def _lines(
    context: Context, stream: Stream, bin_id: str, has_missed: bool
) -> AsyncIterator[str]:
    """Yield the stream's text until it is closed here or by the browser."""
    words = _Words(context)
    try:
        yield f"retry: {RETRY_MS}\n\n"
        if has_missed:
            yield 'event: look\ndata: {"kind": "look"}\n\n'
        while (events := await stream.next(KEEP_ALIVE_S)) is not None:
            if not events:
                yield ": still here\n\n"
                continue
            setup = await words.setup()
            for event in events:
                for told in _told(setup, event):
                    if bin_id and told.get("bin", bin_id) != bin_id:
                        continue
                    await words.shift(told)
                    yield f"event: {told['kind']}\ndata: {json.dumps(told)}\n\n"
    finally:
        context.live.shut(stream)


class _Words:
    """The set-up, read again when it is a few seconds old, and what is added to a bin's moisture."""

    def __init__(self, context: Context) -> None:
        self._context = context
        self._setup: Setup | None = None
        self._read_s = 0.0
        self._shifts: dict[str, tuple[float, float]] = {}

    async def setup(self) -> Setup:
        """Return a set-up that is fresh enough to translate with."""
        if self._setup is None or monotonic_s() - self._read_s > SETUP_FRESH_S:
            self._setup = await run_in_threadpool(self._context.records.setup)
            self._read_s = monotonic_s()
        return self._setup

    async def shift(self, told: dict[str, Any]) -> None:
        """Add to a reading's moisture what the bin's page and curves add."""
        bin_id, values = str(told.get("bin", "")), told.get("values")
        if not bin_id or not isinstance(values, dict) or MOISTURE not in values:
            return
        read_s, shift_pct = self._shifts.get(bin_id, (float("-inf"), 0.0))
        if monotonic_s() - read_s > SHIFT_FRESH_S:
            state = await run_in_threadpool(self._context.judged.state, bin_id)
            shift_pct = moisture_shift_pct(state)
            self._shifts[bin_id] = (monotonic_s(), shift_pct)
        values[MOISTURE] = round(values[MOISTURE] + shift_pct, 3)


def _told(setup: Setup, event: Event) -> list[dict[str, Any]]:
    """Return *event* as pages see it: a reading once for every bin it says something of."""
    if event.get("kind") != "reading":
        return [dict(event)]
    probe, at_ms = str(event["probe"]), int(str(event["at_ms"]))
    raw = event["values"]
    values: dict[str, float] = dict(raw) if isinstance(raw, dict) else {}
    base = {"kind": "reading", "probe": probe, "at_ms": at_ms, "at": rfc3339(at_ms)}
    place = setup.probes.get(probe)
    if place is None:
        return [base | {"bin": "", "values": values}]
    shown = {name: round(value, 3) for name, value in believed_now(place, at_ms, values).items()}
    if place.bin is not None:
        told = [base | {"bin": place.bin, "values": shown}]
        others = [one.id for one in setup.bins.values() if one.shed == place.shed]
        is_air = place.shed in setup.sheds and setup.sheds[place.shed].air_probe == probe
        others = [one for one in others if one != place.bin] if is_air else []
    else:
        told, others = [], [one.id for one in setup.bins.values() if one.shed == place.shed]
    air = {name: value for name, value in shown.items() if name in AIR_CHANNELS}
    return told + ([base | {"bin": one, "values": air} for one in others] if air else [])
