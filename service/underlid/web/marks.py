"""What stands in a bin's picture beside the curves: journal marks and stretches with alerts."""

from __future__ import annotations

from typing import Any, Final

from underlid.journal.summary import summary
from underlid.web.context import Context
from underlid.web.wording import CONDITIONS, ENTRY_KINDS

MARKS_MOST: Final = 400
"""Marks of one picture; more would hide the curves."""


def marks_of(context: Context, bin_id: str, start_ms: int, end_ms: int) -> list[dict[str, Any]]:
    """Return the journal entries in [start_ms, end_ms), oldest first."""
    entries = context.records.entries(
        bin=bin_id, from_ms=start_ms, until_ms=end_ms + 1, most=MARKS_MOST
    )
    return [
        {
            "id": entry.id,
            "at_ms": entry.at_ms,
            "kind": entry.kind,
            "label": ENTRY_KINDS[entry.kind],
            "text": summary(entry),
        }
        for entry in reversed(entries)
    ]


def spans_of(context: Context, bin_id: str, start_ms: int, end_ms: int) -> list[dict[str, Any]]:
    """Return the spells that touch [start_ms, end_ms), and open alerts without one.

    What is only foreseen begins when it is expected, not when it was first foreseen.
    """
    spells = context.records.spells(bin_id, start_ms, end_ms)
    spans: list[dict[str, Any]] = [
        _span(spell.condition.value, spell.began_ms, spell.ended_ms) for spell in spells
    ]
    running = {spell.condition for spell in spells if spell.ended_ms is None}
    spans += [
        _span(alert.condition.value, alert.since_ms, None)
        if alert.forecast_for_ms is None
        else _span(alert.condition.value, alert.forecast_for_ms, None, foreseen=True)
        for alert in context.records.open_alerts(bin_id)
        if alert.raised_at_ms is not None and alert.condition not in running
    ]
    return sorted(spans, key=lambda span: int(span["from_ms"]))[:MARKS_MOST]


def _span(
    condition: str, from_ms: int, until_ms: int | None, *, foreseen: bool = False
) -> dict[str, Any]:
    label = CONDITIONS[condition]
    return {
        "condition": condition,
        "label": f"{label} foreseen" if foreseen else label,
        "foreseen": foreseen,
        "from_ms": from_ms,
        "until_ms": until_ms,
    }
