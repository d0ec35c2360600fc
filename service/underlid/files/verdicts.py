"""What a judgement says, as lines of `verdicts.jsonl`: one JSON object a change, in time order.

The keys are on the files page. The webhook's body and the alert topic are made of the same keys.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

import msgspec

from underlid.alerts.alert import Alert, Message, Spell, Transition
from underlid.alerts.show import advice_as_json
from underlid.pipeline import Judgement
from underlid.timeline import HOUR_MS, rfc3339

TOLD: Final = "told"

Line = dict[str, object]


def lines_of(judgement: Judgement) -> Iterator[Line]:
    """Yield the changes of one judgement, then the messages they made."""
    for transition in judgement.transitions:
        yield transition_line(transition)
    alerts = {alert.id: alert for alert in judgement.alerts}
    for message in judgement.messages:
        yield told_line(message, alerts.get(message.alert_id))


def encoded(lines: Iterable[Line]) -> bytes:
    """Return *lines* as JSON, one a line."""
    return b"".join(msgspec.json.encode(line) + b"\n" for line in lines)


def transition_line(change: Transition) -> Line:
    """Return an alert's or a spell's change as a line."""
    line: Line = {
        "time": rfc3339(change.at_ms),
        "bin": change.bin,
        "event": change.kind.value,
        "condition": change.condition.value,
        "reason": change.reason,
    }
    if change.alert is not None:
        line |= alert_keys(change.alert)
    if change.spell is not None:
        line |= _spell_keys(change.spell)
    return line


def told_line(message: Message, alert: Alert | None) -> Line:
    """Return a message to the keeper as a line."""
    line: Line = {
        "time": rfc3339(message.at_ms),
        "bin": message.bin,
        "event": TOLD,
        "condition": None if alert is None else alert.condition.value,
        "about": message.event.value,
        "alert": message.alert_id,
        "priority": message.priority.value,
        "title": message.title,
        "text": message.text,
    }
    if alert is not None and alert.subject:
        line["subject"] = alert.subject
    return line


def alert_keys(alert: Alert) -> Line:
    """Return what is known of an alert, empty keys left out."""
    line: Line = {
        "alert": alert.id,
        "subject": alert.subject,
        "priority": alert.priority.value,
        "certainty": alert.certainty,
        "since": rfc3339(alert.since_ms),
        "forecast_for": _time(alert.forecast_for_ms),
        "cause": alert.cause,
        "grade": alert.grade,
        "feed_time": _time(alert.feed_at_ms),
        "evidence": alert.evidence,
        "advice": [advice_as_json(one) for one in alert.advice],
        "text": alert.text,
    }
    return {key: value for key, value in line.items() if value not in (None, "")}


def _spell_keys(spell: Spell) -> Line:
    line: Line = {
        "began": rfc3339(spell.began_ms),
        "ended": _time(spell.ended_ms),
        "duration_h": None
        if spell.ended_ms is None
        else round((spell.ended_ms - spell.began_ms) / HOUR_MS, 3),
        "grade": spell.grade,
        "peak": spell.peak,
        "water_g_m2": spell.water_g_m2,
        "feed_time": _time(spell.feed_at_ms),
    }
    return {key: value for key, value in line.items() if value not in (None, "")}


def _time(at_ms: int | None) -> str | None:
    return None if at_ms is None else rfc3339(at_ms)
