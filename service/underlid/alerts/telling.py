"""Which changes a keeper is told of: few, and none twice.

At most three messages a bin and day, critical ones excepted (common practice: one a day on average).
A shelved alert is quiet; a return is told only if the alert was. Whoever was told of a thing to come, and
it will not, is always told: it may be the reason to leave a feed in the bin.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from underlid.alerts.alert import Alert, Message, Occasion, Transition, TransitionKind
from underlid.alerts.life import AS_FORESEEN, is_shelved
from underlid.binmodel.bins import Bin
from underlid.rules.finding import Condition, Priority
from underlid.timeline import DAY_MS, HOUR_MS

MESSAGES_A_DAY: Final = 3

AS_TOLD_MS: Final = 3 * HOUR_MS
"""Who was told so lately that a thing will come is not told that it has (our judgement)."""

TITLES: Final = {
    "condensation": "wet lid",
    "overheating": "too warm",
    "drying_out": "drying out",
    "too_wet": "too wet",
    "too_cold": "too cold",
    "hungry": "hungry",
    "sour": "sour",
    "probe_fault": "probe needs a look",
}

ENDS: Final = {"wet lid": "lid no longer wet", "probe needs a look": "probe well again"}
"""What is said when it is over, where "no longer" before the title would be no English."""


def message_for(change: Transition, bin_: Bin, told_at_ms: Sequence[int]) -> Message | None:
    """Return the message that a change is worth, or None.

    *told_at_ms* are the times of this bin's earlier messages.
    """
    alert = change.alert
    if alert is None or is_shelved(alert, change.at_ms):
        return None
    if change.kind is TransitionKind.ALERT_RETURNED and not alert.told_at_ms:
        return None
    if _known_already(change.kind, alert) or _was_told_as_bad(change.kind, alert):
        return None
    if _came_as_told(change, alert):
        return None
    today = sum(1 for at_ms in told_at_ms if change.at_ms - DAY_MS < at_ms <= change.at_ms)
    always = alert.priority is Priority.CRITICAL or _is_withdrawn(change.kind, alert)
    if today >= MESSAGES_A_DAY and not always:
        return None
    return Message(
        key=f"{alert.id}:{change.kind.value}:{change.at_ms}",
        alert_id=alert.id,
        bin=bin_.id,
        shed=bin_.shed,
        at_ms=change.at_ms,
        priority=alert.priority,
        title=title(alert, bin_, change.kind),
        text=alert.text,
        event=Occasion(change.kind.value),
    )


def _was_told_as_bad(kind: TransitionKind, alert: Alert) -> bool:
    """Tell whether it was as bad before: a bed as hot every evening is told of once, unless critical."""
    told = alert.told_priority
    if kind is not TransitionKind.ALERT_WORSENED or told is None:
        return False
    return told.rank >= alert.priority.rank and alert.priority is not Priority.CRITICAL


def _came_as_told(change: Transition, alert: Alert) -> bool:
    """Tell whether it came as was said a short while ago, and no worse: that is no news."""
    return (
        change.reason.endswith(AS_FORESEEN)
        and alert.priority is Priority.MEDIUM
        and bool(alert.told_at_ms)
        and change.at_ms - alert.told_at_ms[-1] <= AS_TOLD_MS
    )


def _is_withdrawn(kind: TransitionKind, alert: Alert) -> bool:
    """Tell whether a thing that was foreseen will not come."""
    return kind is TransitionKind.ALERT_RETURNED and alert.forecast_for_ms is not None


def _known_already(kind: TransitionKind, alert: Alert) -> bool:
    """Tell whether the keeper knows: of the own feed, and of a hunger that was foreseen."""
    if alert.condition is not Condition.HUNGRY:
        return False
    come = kind is TransitionKind.ALERT_WORSENED and alert.priority is Priority.LOW
    return come or kind is TransitionKind.ALERT_RETURNED


def title(alert: Alert, bin_: Bin, kind: TransitionKind) -> str:
    """Return the head line: the bin, and what it is about."""
    name = bin_.name or bin_.id.capitalize()
    about = TITLES[alert.condition.value]
    if alert.forecast_for_ms is not None:
        ends = _is_withdrawn(kind, alert)
        return f"{name}: {about} not expected after all" if ends else f"{name}: {about} ahead"
    if kind is TransitionKind.ALERT_RETURNED:
        return f"{name}: {ENDS.get(about, f'no longer {about}')}"
    return f"{name}: {about}" + (" (worse)" if kind is TransitionKind.ALERT_WORSENED else "")
