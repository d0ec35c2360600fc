"""An alert's sentence, and what it was made of: kept with the alert, so that it can be made again.

The words are in `sentence.py`; `advice.retold` says an alert again in the units of who reads it.
"""

from __future__ import annotations

from dataclasses import replace

from underlid.alerts.alert import Alert, AlertState, Said
from underlid.alerts.sentence import returned_sentence, sentence
from underlid.binmodel.food.feeds import feed_with_bedding
from underlid.binmodel.window import BinWindow
from underlid.journal.units import Units
from underlid.rules.finding import Finding


def worded_alert(
    alert: Alert, before: Alert | None, finding: Finding, window: BinWindow, units: Units
) -> Alert:
    """Return *alert*, which *finding* has moved on, with its sentence in *units*.

    Where nothing has changed since *before*, nothing is kept anew: it would cost a write each time.
    """
    said = _said(finding, window)
    if alert.state is AlertState.RETURNED:
        foreseen = alert.forecast_for_ms is not None
        text = returned_sentence(finding, said.name, units, foreseen=foreseen)
    else:
        text = sentence(finding, said, units)
    if alert == before and text == alert.text:
        return alert
    return replace(alert, text=text, said=said)


def _said(finding: Finding, window: BinWindow) -> Said:
    feed = feed_with_bedding(window, finding.feed_at_ms)
    return Said(
        at_ms=window.now_ms,
        name=window.bin.name or window.bin.id.capitalize(),
        timezone=window.shed.timezone,
        reason=finding.reason,
        forecast_for_ms=finding.forecast_for_ms,
        fed=feed[1].portions if feed else (),
        fed_at_ms=feed[0].at_ms if feed else 0,
        measured=bool(finding.evidence),
    )
