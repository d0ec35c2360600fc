"""An alert as JSON, the same on the state topic, in the HTTP interface and in the webhook."""

from __future__ import annotations

from underlid.alerts.alert import Alert
from underlid.rules.finding import Advice
from underlid.timeline import rfc3339


def alert_as_json(alert: Alert) -> dict[str, object]:
    """Return an alert's public fields; times in RFC 3339, absent ones null."""
    return {
        "id": alert.id,
        "bin": alert.bin,
        "shed": alert.shed,
        "condition": alert.condition.value,
        "subject": alert.subject,
        "state": alert.state.value,
        "priority": alert.priority.value,
        "since": rfc3339(alert.since_ms),
        "raised_at": _time(alert.raised_at_ms),
        "returned_at": _time(alert.returned_at_ms),
        "acknowledged_at": _time(alert.acknowledged_at_ms),
        "acknowledged_by": alert.acknowledged_by,
        "shelved_until": _time(alert.shelved_until_ms),
        "cause": alert.cause,
        "grade": alert.grade,
        "certainty": alert.certainty,
        "forecast_for": _time(alert.forecast_for_ms),
        "feed_at": _time(alert.feed_at_ms),
        "evidence": alert.evidence,
        "advice": [advice_as_json(one) for one in alert.advice],
        "text": alert.text,
    }


def advice_as_json(advice: Advice) -> dict[str, object]:
    """Return one piece of advice; of the amounts only the one that is set, and nothing that is empty."""
    line: dict[str, object] = {
        "act": advice.act,
        "amount_g": advice.amount_g,
        "amount_ml": advice.amount_ml,
        "days": advice.days,
        "values": advice.values or None,
        "text": advice.text,
        "working": advice.working,
    }
    return {name: one for name, one in line.items() if one not in (None, "")}


def _time(at_ms: int | None) -> str | None:
    return None if at_ms is None else rfc3339(at_ms)
