"""What replay says of a case, gathered while it runs: alerts, messages, forecasts, what is open at last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from underlid.alerts.alert import Alert, AlertState, Transition, TransitionKind
from underlid.binmodel.bins import Setup
from underlid.binmodel.outlook.forecast import Forecast
from underlid.files.verdicts import Line, lines_of
from underlid.journal.entries import Entry
from underlid.judge import Judge
from underlid.pipeline import Judgement
from underlid.readings.admission import Row, admit
from underlid.readings.topics import Kind, Topic
from underlid.readings.values import Reading
from underlid.replay import replay
from underlid.rules.finding import Condition, Verdict
from underlid.score.bands import EVERY_MS
from underlid.score.dates import SaidDate
from underlid.score.matching import Raised
from underlid.timeline import HOUR_MS, MINUTE_MS, rfc3339

OPEN: Final = (AlertState.ACTIVE, AlertState.RETURNING)

State = frozenset[tuple[str, str, str]]


@dataclass(slots=True)
class Verdicts:
    """Everything that is scored of one replay."""

    alerts: list[Raised] = field(default_factory=list)
    messages: int = 0
    judgements: int = 0
    forecasts: list[Forecast] = field(default_factory=list)
    dries: list[SaidDate] = field(default_factory=list)
    """What was said of drying, hourly."""
    last: State = frozenset()
    """Open alerts and verdicts at the end."""
    lines: list[Line] = field(default_factory=list)


def verdicts_of(
    setup: Setup,
    readings: Sequence[Reading],
    entries: Sequence[Entry],
    until_ms: int,
    *,
    tick_ms: int = MINUTE_MS,
    keep_lines: bool = False,
) -> Verdicts:
    """Run a case of one bin through the production code, asked every *tick_ms*."""
    found = Verdicts()
    judges: list[Judge] = []
    bin_id = next(iter(setup.bins))
    by_id: dict[str, Raised] = {}
    next_forecast_ms = next_date_ms = 0
    judgement = None
    for judgement in replay(
        setup,
        readings,
        entries,
        until_ms=until_ms,
        tick_ms=tick_ms,
        judge_made=judges.append,
    ):
        found.judgements += 1
        found.messages += len(judgement.messages)
        for change in judgement.transitions:
            _note(change, by_id, found)
        for alert in judgement.alerts:
            held = by_id.get(alert.id)
            if held and held.came_ms is None and alert.forecast_for_ms is None:
                held.came_ms = judgement.at_ms
        if judgement.at_ms >= next_forecast_ms:
            forecast = judges[0].forecast(bin_id)
            if forecast is not None and forecast.at_ms >= next_forecast_ms:
                found.forecasts.append(forecast)
                next_forecast_ms = forecast.at_ms + EVERY_MS
        if judgement.at_ms >= next_date_ms:
            next_date_ms = judgement.at_ms + HOUR_MS
            _note_date(judgement, found)
        if keep_lines:
            found.lines += lines_of(judgement)
    found.last = _state(judgement)
    return found


def received(readings: Sequence[Reading], *, in_order: bool = False) -> list[Reading]:
    """Return *readings* as the service takes them in, by when they came; *in_order*: at once."""
    placed: list[Reading] = []
    for one in readings:
        came_ms = one.taken_at_ms if in_order else one.received_at_ms
        row = Row(one.values, one.taken_at_ms)
        admit([row], Topic(Kind.JSON, one.shed, one.probe), came_ms, placed)
    placed.sort(key=lambda one: (one.received_at_ms, one.taken_at_ms, one.probe))
    return placed


def _note(change: Transition, by_id: dict[str, Raised], found: Verdicts) -> None:
    alert = change.alert
    if alert is None:
        return
    if change.kind is TransitionKind.ALERT_RAISED:
        by_id[alert.id] = _raised(alert, change.at_ms)
        found.alerts.append(by_id[alert.id])
    held = by_id.get(alert.id)
    if held is None:
        return
    if change.kind is TransitionKind.ALERT_RETURNED:
        held.returned_ms = change.at_ms
    if change.kind is not TransitionKind.ALERT_RAISED:
        held.changes.append(f"{rfc3339(change.at_ms)} {change.kind.value} {change.reason}")


def _raised(alert: Alert, at_ms: int) -> Raised:
    return Raised(
        alert.condition,
        alert.subject,
        at_ms,
        alert.forecast_for_ms,
        alert.priority.value,
        alert.cause,
        alert.grade,
        dict(alert.evidence),
        tuple(replace(one) for one in alert.advice),
        alert.text,
        alert.feed_at_ms,
        came_ms=at_ms if alert.forecast_for_ms is None else None,
    )


def _note_date(judgement: Judgement, found: Verdicts) -> None:
    for finding in judgement.findings:
        if finding.condition is Condition.DRYING_OUT:
            trend = finding.evidence.get("moisture_trend_pct_d")
            falls = float(trend) if trend is not None else None
            found.dries.append(SaidDate(judgement.at_ms, finding.forecast_for_ms, falls))


def _state(judgement: Judgement | None) -> State:
    if judgement is None:
        return frozenset()
    opened = {
        ("alert", one.condition.value, one.subject) for one in judgement.alerts if one.state in OPEN
    }
    said = {
        (one.condition.value, one.subject, one.verdict.value)
        for one in judgement.findings
        if one.verdict is not Verdict.UNKNOWN
    }
    return frozenset(opened | said)
