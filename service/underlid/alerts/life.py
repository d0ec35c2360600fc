"""The life of one alert: a pure step from finding to finding, in the terms of IEC 62682.

pending → active → returning → returned. UNKNOWN moves nothing: missing data neither raises nor clears.
`policy.py` has the delays, `telling.py` decides who hears of it.
"""

from __future__ import annotations

from dataclasses import replace
from hashlib import blake2b
from typing import Final

from underlid.alerts.alert import Alert, AlertState, Transition, TransitionKind
from underlid.alerts.policy import Delays
from underlid.binmodel.bins import Bin
from underlid.rules.finding import Finding, Priority, Verdict
from underlid.timeline import rfc3339

AS_FORESEEN: Final = "as foreseen"
"""Why an alert worsened whose thing was foreseen and has come."""


def step(
    alert: Alert | None, finding: Finding, bin_: Bin, now_ms: int, delays: Delays
) -> tuple[Alert | None, Transition | None]:
    """Return the alert after *finding*, and the transition it made, if any."""
    if finding.verdict is Verdict.UNKNOWN:
        return (None if alert and _stale(alert, now_ms, delays) else alert), None
    if finding.verdict is Verdict.CLEAR:
        return (None, None) if alert is None else _cleared(alert, finding, now_ms, delays)
    if alert is None:
        alert = _begun(finding, bin_, now_ms)
    came = alert.forecast_for_ms is not None and finding.forecast_for_ms is None
    return _holding(_renewed(alert, finding), alert.priority, now_ms, delays, came=came)


def _stale(alert: Alert, now_ms: int, delays: Delays) -> bool:
    """Tell whether a pending alert has waited too long for data to be raised by the next reading.

    Three on-delays, our judgement: it was never raised, so nothing is cleared by forgetting it.
    """
    return alert.state is AlertState.PENDING and now_ms - alert.since_ms > 3 * delays.on_ms


def alert_id(bin_id: str, finding: Finding, since_ms: int) -> str:
    """Return the id of an alert: the same data gives the same id, live and replayed."""
    words = f"{bin_id} {finding.condition} {finding.subject} {since_ms}"
    return blake2b(words.encode(), digest_size=10).hexdigest()


def _begun(finding: Finding, bin_: Bin, now_ms: int) -> Alert:
    return Alert(
        id=alert_id(bin_.id, finding, now_ms),
        bin=bin_.id,
        shed=bin_.shed,
        condition=finding.condition,
        subject=finding.subject,
        state=AlertState.PENDING,
        priority=finding.priority,
        since_ms=now_ms,
        state_at_ms=now_ms,
    )


def _renewed(alert: Alert, finding: Finding) -> Alert:
    """Return the alert with the newest evidence in it.

    What has come stays come: when the same is foreseen for the next day too, its end is an end, and
    nothing that was withdrawn.
    """
    has_come = alert.raised_at_ms is not None and alert.forecast_for_ms is None
    return replace(
        alert,
        priority=finding.priority,
        cause=finding.cause,
        grade=finding.grade,
        certainty=finding.certainty,
        forecast_for_ms=None if has_come else finding.forecast_for_ms,
        feed_at_ms=finding.feed_at_ms,
        evidence=finding.evidence,
        advice=finding.advice,
    )


def _holding(
    alert: Alert, before: Priority, now_ms: int, delays: Delays, *, came: bool
) -> tuple[Alert, Transition | None]:
    """Move an alert whose condition holds.

    *before* is the priority it had; *came* tells that it was foreseen before and now is.
    """
    if alert.state is AlertState.PENDING:
        if now_ms - alert.since_ms < delays.on_ms:
            return alert, None
        alert = replace(alert, state=AlertState.ACTIVE, state_at_ms=now_ms, raised_at_ms=now_ms)
        reason = f"held since {rfc3339(alert.since_ms)}"
        return alert, _change(TransitionKind.ALERT_RAISED, alert, now_ms, reason)
    if alert.state is AlertState.RETURNING:
        alert = replace(alert, state=AlertState.ACTIVE, state_at_ms=now_ms)
    if not came and alert.priority.rank <= before.rank:
        return alert, None
    alert = replace(alert, acknowledged_at_ms=None, acknowledged_by="")
    if came:
        alert = replace(alert, told_priority=None)
    moved = [f"from {before.value} to {alert.priority.value}"] * (before is not alert.priority)
    reason = ", ".join(moved + [AS_FORESEEN] * came)
    return alert, _change(TransitionKind.ALERT_WORSENED, alert, now_ms, reason)


def _cleared(
    alert: Alert, finding: Finding, now_ms: int, delays: Delays
) -> tuple[Alert | None, Transition | None]:
    if alert.state is AlertState.PENDING:
        return None, None
    if alert.state is AlertState.ACTIVE:
        return replace(alert, state=AlertState.RETURNING, state_at_ms=now_ms), None
    if now_ms - alert.state_at_ms < delays.off_ms:
        return alert, None
    alert = replace(
        alert,
        state=AlertState.RETURNED,
        returned_at_ms=now_ms,
        evidence=finding.evidence or alert.evidence,
        advice=(),
    )
    gone = "gone" if alert.forecast_for_ms is None else "not foreseen any more"
    reason = f"{gone} since {rfc3339(alert.state_at_ms)}"
    alert = replace(alert, state_at_ms=now_ms)
    return alert, _change(TransitionKind.ALERT_RETURNED, alert, now_ms, reason)


def _change(kind: TransitionKind, alert: Alert, now_ms: int, reason: str) -> Transition:
    return Transition(kind, now_ms, alert.bin, alert.condition, reason, alert=alert)


def deadline_ms(alert: Alert, delays: Delays) -> int | None:
    """Return when time alone will move the alert on, or None."""
    if alert.state is AlertState.PENDING:
        return alert.since_ms + delays.on_ms
    if alert.state is AlertState.RETURNING:
        return alert.state_at_ms + delays.off_ms
    return None


def is_shelved(alert: Alert, now_ms: int) -> bool:
    """Tell whether the keeper has put the alert aside for now."""
    return alert.shelved_until_ms is not None and now_ms < alert.shelved_until_ms
