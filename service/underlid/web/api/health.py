"""Is it alive, is it ready, and how is it doing: /healthz, /readyz, /metrics.

No names of people, bins or probes are in the answers, only of mappings, so they need no log-in.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from fastapi import APIRouter, Request
from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    Metric,
)
from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.registry import Collector, CollectorRegistry
from starlette.responses import JSONResponse, Response

from underlid.storage.mapping_counts import MappingCount
from underlid.storage.recorder import Counts
from underlid.timeline import SECOND_MS
from underlid.web.context import Context, WayCounts, context_of

router = APIRouter(tags=["health"])


@router.get("/healthz")
async def alive() -> dict[str, str]:
    """Answer as long as the process does."""
    return {"status": "alive"}


@router.get("/readyz", responses={503: {"description": "Not ready; each part says why"}})
def ready(request: Request) -> Response:
    """Answer 200 when every part is well, else 503 and what is wrong."""
    context = context_of(request)
    unwell = {name: said for name, check in context.health.items() if (said := check())}
    body = {"status": "not ready" if unwell else "ready", "unwell": unwell}
    return JSONResponse(body, 503 if unwell else 200)


@router.get("/metrics", response_class=Response)
def metrics(request: Request) -> Response:
    """Return the figures as OpenMetrics text."""
    registry = CollectorRegistry()
    registry.register(_Figures(context_of(request)))
    text: bytes = generate_latest(registry)  # type: ignore[no-untyped-call]  # it has no types
    return Response(text, media_type=CONTENT_TYPE_LATEST)


class _Figures(Collector):
    """Reads the figures when they are asked for."""

    def __init__(self, context: Context) -> None:
        self._context = context

    def describe(self) -> Iterable[Metric]:
        """Say nothing in advance: the figures are read only when asked for."""
        return []

    def collect(self) -> Iterator[Metric]:
        """Return every figure."""
        recorder = self._context.recorder
        counts = recorder.counts if recorder is not None else Counts()
        for name, text, value in (
            ("messages", "Messages stored or refused since the start", counts.messages),
            ("readings", "Readings stored since the start", counts.readings),
            ("rejected", "Messages that could not be used since the start", counts.rejected),
            ("commits", "Commits of readings since the start", counts.commits),
            ("failed_commits", "Commits that failed since the start", counts.failed_commits),
        ):
            yield CounterMetricFamily(f"underlid_{name}", text, value=float(value))
        reasons = CounterMetricFamily(
            "underlid_rejected_ever", "Messages refused, by reason", labels=["reason"]
        )
        for reason, count in self._context.readings.reject_counts().items():
            reasons.add_metric([reason], float(count))
        yield reasons
        if recorder is not None:
            yield from _of_mappings(recorder.mapping_counts.all())
        yield from _of_ways(self._context.ways)
        backlog = self._context.readings.backlog()
        for name, text, figure in (
            (
                "waiting_messages",
                "Messages taken and not yet on disk",
                0 if recorder is None else recorder.waiting,
            ),
            ("commit_seconds", "Length of the last commit", counts.commit_s),
            ("judge_lag_seconds", "Time since the last judgement", self._context.judged.lag_s()),
            ("live_streams", "Pages that are listening", self._context.live.open_streams),
            ("unwell_parts", "Parts that are not well", self._unwell()),
            ("undelivered_messages", "Messages given up", self._undelivered()),
            ("unsent_readings", "Readings that the server does not have yet", backlog.waiting),
            ("refused_readings", "Readings that the server refused", backlog.refused),
            ("photo_bytes", "Room that photos take", self._context.records.photo_bytes()),
        ):
            yield GaugeMetricFamily(f"underlid_{name}", text, value=float(figure))

    def _unwell(self) -> int:
        return sum(check() is not None for check in self._context.health.values())

    def _undelivered(self) -> int:
        return len(self._context.records.dead_letters(1000))


def _of_mappings(counts: Mapping[str, MappingCount]) -> Iterator[Metric]:
    """Return what came for each mapping of other firmware."""
    for name, text in (
        ("messages", "Messages that a mapping read since the start"),
        ("refused", "What of those could not be used"),
    ):
        family = CounterMetricFamily(f"underlid_mapping_{name}", text, labels=["mapping"])
        for mapping, count in counts.items():
            family.add_metric([mapping], float(getattr(count, name)))
        yield family
    last = GaugeMetricFamily(
        "underlid_mapping_last_message_seconds",
        "When the last came, in seconds since 1970",
        labels=["mapping"],
    )
    for mapping, count in counts.items():
        if count.last_at_ms is not None:
            last.add_metric([mapping], count.last_at_ms / SECOND_MS)
    yield last


def _of_ways(ways: Mapping[str, WayCounts]) -> Iterator[Metric]:
    """Return what the door, and the line to a broker, have counted."""
    for name, text in (
        ("connections", "Connections made since the start"),
        ("acknowledged", "Messages acknowledged, which is after their commit"),
        ("not_stored", "Messages whose commit failed: not acknowledged, the probe still has them"),
        ("held_back", "Times nothing more was read until the queue was shorter"),
        ("sent", "Messages sent to programs that listen"),
        ("dropped", "Messages that those were too slow for"),
    ):
        family = CounterMetricFamily(f"underlid_mqtt_{name}", text, labels=["way"])
        for way, counts in ways.items():
            family.add_metric([way], float(getattr(counts, name)))
        yield family
    refused = CounterMetricFamily(
        "underlid_mqtt_refused", "What was not accepted, and unusual ends", labels=["way", "reason"]
    )
    now_open = GaugeMetricFamily("underlid_mqtt_open", "Connections now", labels=["way"])
    for way, counts in ways.items():
        now_open.add_metric([way], float(counts.open))
        for reason, count in sorted(counts.refused.items()):
            refused.add_metric([way, reason], float(count))
    yield refused
    yield now_open
