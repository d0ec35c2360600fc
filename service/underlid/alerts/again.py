"""Telling again: of an alert that wants somebody soon and that nobody has acknowledged. Pure."""

from __future__ import annotations

from typing import Final

from underlid.alerts.alert import Alert, AlertState, Message, Occasion, TransitionKind
from underlid.alerts.life import is_shelved
from underlid.alerts.quiet import LOUD
from underlid.alerts.telling import title
from underlid.binmodel.bins import Bin
from underlid.timeline import HOUR_MS

TIMES_MOST: Final = 6
"""Whom six messages have not moved, a seventh will not (our judgement); the daily digest names it still."""

DAYS_FROM_H: Final = 48


def again(alert: Alert, bin_: Bin, now_ms: int, every_ms: int) -> Message | None:
    """Return the message that says an alert again, None while there is none to send.

    The same moment gives the same message: who posts it twice, or late, has posted it once.
    """
    open_ = alert.state is AlertState.ACTIVE and alert.raised_at_ms is not None
    if not open_ or not alert.told_at_ms or alert.priority not in LOUD:
        return None
    if alert.acknowledged_at_ms is not None or is_shelved(alert, now_ms):
        return None
    told_ms = alert.told_at_ms[-1]
    times = min((now_ms - told_ms) // every_ms, TIMES_MOST)
    if times < 1:
        return None
    at_ms = told_ms + times * every_ms
    foreseen = "been foreseen" if alert.forecast_for_ms is not None else "held"
    held = f"it has {foreseen} for {_span(at_ms - alert.since_ms)}"
    return Message(
        key=f"{alert.id}:again:{told_ms}:{times}",
        alert_id=alert.id,
        bin=bin_.id,
        shed=bin_.shed,
        at_ms=at_ms,
        priority=alert.priority,
        title=f"{title(alert, bin_, TransitionKind.ALERT_RAISED)} (said again)",
        text=f"Said again, for nobody has acknowledged it: {held}. {alert.text}",
        event=Occasion.ALERT_REPEATED,
    )


def _span(span_ms: int) -> str:
    """Return a span in hours, or from two days on in days.

    >>> _span(13 * HOUR_MS), _span(50 * HOUR_MS)
    ('13 h', '2 days')
    """
    hours = span_ms / HOUR_MS
    return f"{hours:.0f} h" if hours < DAYS_FROM_H else f"{hours / 24:.0f} days"
