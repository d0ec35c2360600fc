"""One message for a shed whose probes fall silent together, and one when they are back.

A power cut makes an alert of every probe at once: a flood, in the terms of IEC 62682. The alerts stay, one
a probe; people are told once. `binmodel.probes.silence` says whether a silence is the shed's; who else is
told of what is in `telling.py`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from typing import Final

from underlid.alerts.alert import Alert, Message, Transition, TransitionKind
from underlid.alerts.telling import message_for
from underlid.binmodel.probes.silence import Silence, shed_silence, still_silent
from underlid.binmodel.window import BinWindow
from underlid.rules.finding import Condition
from underlid.timeline import DAY_MS, HOUR_MS, SECOND_MS

MARK: Final = "shed_silent_since_s"
"""In the evidence of the alert with which a shed's silence was told: its beginning, seconds since 1970."""

ANOTHER_MS: Final = 6 * HOUR_MS
"""A silence that began so much later is another one (our judgement)."""

STRAGGLES_MS: Final = HOUR_MS
NAMED_MOST: Final = 3
SILENT: Final = "silent"


@dataclass(slots=True)
class Told:
    """What people know of a shed's silence; one a shed, which its bins share."""

    since_ms: int = -1
    """When the silence that was told began; −1 before the first."""
    back_ms: int = -1
    """When its end was told; −1 while it is not."""
    alert_id: str = ""
    """The alert with which it was told."""

    def knows(self, silence: Silence) -> bool:
        """Tell whether people have been told of *silence* and not of its end."""
        is_open = self.since_ms >= 0 and self.back_ms < 0
        return is_open and silence.since_ms <= self.since_ms + ANOTHER_MS

    def mark(self, alert: Alert) -> Alert:
        """Return *alert*, with the mark when it is the one: a restart finds it there."""
        if alert.id != self.alert_id:
            return alert
        return replace(alert, evidence=alert.evidence | {MARK: self.since_ms / SECOND_MS})

    def take_over(self, alerts: Iterable[Alert]) -> None:
        """Take from a shed's alerts, open or ended lately, what people knew when another judge stopped."""
        known = sorted(alerts, key=lambda one: one.returned_at_ms or 0)
        for alert in known:
            since_ms = round(float(alert.evidence.get(MARK, -1.0)) * SECOND_MS)
            if since_ms > self.since_ms:
                self.since_ms, self.back_ms, self.alert_id = since_ms, -1, alert.id
        for alert in known:
            ended_ms = alert.returned_at_ms
            if ended_ms is None or ended_ms not in alert.told_at_ms or not self.since_ms >= 0:
                continue
            with_shed = MARK in alert.evidence or alert.told_at_ms == (ended_ms,)
            if alert.cause == SILENT and with_shed and ended_ms > self.since_ms:
                self.back_ms = ended_ms


def is_of_shed(change: Transition, window: BinWindow, told: Told) -> bool:
    """Tell whether a change is a probe's part in a silence, or return, of its shed."""
    alert = change.alert
    if alert is None or alert.condition is not Condition.PROBE_FAULT or alert.cause != SILENT:
        return False
    if change.kind is not TransitionKind.ALERT_RETURNED:
        silence = shed_silence(window.vitals, window.shed_probes, change.at_ms)
        return silence is not None and alert.subject in silence.probes
    if told.since_ms < 0 or 0 <= told.back_ms < change.at_ms - STRAGGLES_MS:
        return False
    return MARK in alert.evidence or not alert.told_at_ms


def message_of_shed(change: Transition, window: BinWindow, told: Told) -> Message | None:
    """Return what is told of such a change, once a shed; *told* notes it."""
    if change.kind is TransitionKind.ALERT_RETURNED:
        if told.back_ms >= 0:
            return None
        message = message_of_return(change, window, told.since_ms)
        told.back_ms = told.back_ms if message is None else change.at_ms
        return message
    silence = shed_silence(window.vitals, window.shed_probes, change.at_ms)
    if silence is None or told.knows(silence):
        return None
    message = message_of_silence(change, silence, window)
    if message is not None:
        told.since_ms, told.back_ms, told.alert_id = silence.since_ms, -1, message.alert_id
    return message


def message_of_silence(change: Transition, silence: Silence, window: BinWindow) -> Message | None:
    """Return the one message that a shed's silence is worth; None for an alert that is shelved."""
    message = message_for(change, window.bin, ())
    if message is None:
        return None
    name = window.shed.name or window.shed.id.capitalize()
    count = len(silence.probes)
    who = f"All {count}" if count == silence.of else f"{count} of the {silence.of}"
    since = _clock(silence.since_ms, change.at_ms, window.zone)
    text = (
        f"{who} probes of {name} have been silent since {since}; look at its power and its network."
    )
    return replace(message, title=f"{name}: probes silent", text=text, of_shed=True)


def message_of_return(change: Transition, window: BinWindow, since_ms: int) -> Message | None:
    """Return the message that most of a shed's probes speak again, naming those that do not."""
    silent, of = still_silent(window.vitals, window.shed_probes, since_ms)
    if change.alert is None or 2 * len(silent) > of:
        return None
    alert = replace(change.alert, told_at_ms=change.alert.told_at_ms or (change.at_ms,))
    message = message_for(replace(change, alert=alert), window.bin, ())
    if message is None:
        return None
    name = window.shed.name or window.shed.id.capitalize()
    text = f"The probes of {name} send again"
    if silent:
        more = len(silent) - NAMED_MOST
        text += (
            ", but for "
            + ", ".join(silent[:NAMED_MOST])
            + (f" and {more} more" if more > 0 else "")
        )
    title = f"{name}: probes send again"
    return replace(message, title=title, text=f"{text}.", of_shed=True)


def _clock(at_ms: int, now_ms: int, zone: tzinfo) -> str:
    at = datetime.fromtimestamp(at_ms // SECOND_MS, zone)
    return f"{at:%H:%M}" if now_ms - at_ms < DAY_MS else f"{at.day}.{at.month}. {at:%H:%M}"
