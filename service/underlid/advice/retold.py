"""An alert said again in the units of who reads it: a page, a program, an address.

An alert keeps its sentence in the units of the setting, and what the sentence was made of
(`alerts.said`). One from before that was kept stays as it was written.
"""

from __future__ import annotations

from dataclasses import replace

from underlid.advice.wording import worded
from underlid.alerts.alert import Alert, AlertState, Message
from underlid.alerts.sentence import returned_sentence, sentence
from underlid.journal.units import UNITS, Units
from underlid.rules.finding import Finding, Verdict


def retold(alert: Alert, units: Units) -> Alert:
    """Return *alert* with its sentence and its advice in *units*."""
    said = alert.said
    if said is None:
        return alert
    over = alert.state is AlertState.RETURNED and alert.raised_at_ms is not None
    finding = Finding(
        alert.condition,
        Verdict.CLEAR if over else Verdict.HOLDS,
        alert.priority,
        alert.certainty,
        alert.evidence if said.measured else {},
        worded(alert.advice, units),
        alert.cause,
        alert.grade,
        said.reason,
        said.forecast_for_ms,
        alert.feed_at_ms,
        alert.subject,
    )
    if over:
        foreseen = alert.forecast_for_ms is not None
        text = returned_sentence(finding, said.name, units, foreseen=foreseen)
    else:
        text = sentence(finding, said, units)
    return replace(alert, text=text, advice=finding.advice)


def in_all_units(message: Message, alert: Alert) -> Message:
    """Return *message*, which says *alert*, with its text in all units that an address may ask for."""
    if alert.said is None or not alert.text or alert.text not in message.text:
        return message
    texts = {
        word: message.text.replace(alert.text, retold(alert, units).text)
        for word, units in UNITS.items()
    }
    return replace(message, texts=texts)
