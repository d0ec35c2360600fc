"""How an alert stands in its row. What is done with the rows is in `alerts.py`."""

from __future__ import annotations

from dataclasses import fields

import sqlalchemy as sa

from underlid.alerts.alert import Alert, AlertState, Said
from underlid.rules.finding import Advice, Condition, Priority
from underlid.storage.records.columns import json_text, json_value, packed, unpacked


def alert_values(alert: Alert) -> dict[str, object]:
    """Return the columns of an alert, but for its id."""
    values = {field.name: getattr(alert, field.name) for field in fields(alert)}
    values |= {
        "condition": alert.condition.value,
        "state": alert.state.value,
        "priority": alert.priority.value,
        "evidence": json_text(alert.evidence),
        "advice": packed(alert.advice),
        "said": packed(alert.said) if alert.said else "",
        "told_at_ms": json_text(alert.told_at_ms),
        "told_priority": alert.told_priority.value if alert.told_priority else "",
    }
    del values["id"]
    return values


def alert_of(row: sa.Row[tuple[object, ...]]) -> Alert:
    """Return the alert that a row keeps."""
    values = dict(row._mapping)
    values["condition"] = Condition(row.condition)
    values["state"] = AlertState(row.state)
    values["priority"] = Priority(row.priority)
    values["evidence"] = json_value(row.evidence)
    values["advice"] = unpacked(row.advice, tuple[Advice, ...])
    values["said"] = unpacked(row.said, Said) if row.said else None
    values["told_at_ms"] = tuple(json_value(row.told_at_ms))
    values["told_priority"] = Priority(row.told_priority) if row.told_priority else None
    return Alert(**values)
