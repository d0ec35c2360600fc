"""The table that `underlid replay --summary` prints: per bin and condition, what came out."""

from __future__ import annotations

from dataclasses import dataclass

import click

from underlid.alerts.alert import Transition, TransitionKind
from underlid.binmodel.bins import Setup
from underlid.cli.sentence import counted, say_table
from underlid.pipeline import Judgement
from underlid.rules.finding import Condition, Priority
from underlid.timeline import HOUR_MS, rfc3339


@dataclass(slots=True)
class _Row:
    raised: int = 0
    worst: Priority = Priority.LOW
    first_ms: int | None = None
    spells: int = 0
    spell_h: float = 0.0
    water_g_m2: float = 0.0
    told: int = 0


class Summary:
    """Adds judgements up."""

    def __init__(self, setup: Setup) -> None:
        self._setup = setup
        self._rows: dict[tuple[str, Condition], _Row] = {}
        self._judgements = 0
        self._last_ms: int | None = None

    def add(self, judgement: Judgement) -> None:
        """Take one judgement in."""
        self._judgements += 1
        self._last_ms = judgement.at_ms
        conditions = {alert.id: alert.condition for alert in judgement.alerts}
        for change in judgement.transitions:
            self._add_change(change)
        for message in judgement.messages:
            condition = conditions.get(message.alert_id)
            if condition is not None:
                self._row(message.bin, condition).told += 1

    def say(self) -> None:
        """Print the table."""
        order = {bin_id: at for at, bin_id in enumerate(self._setup.bins)}
        rows = sorted(self._rows.items(), key=lambda item: (order.get(item[0][0], 0), item[0][1]))
        say_table(
            [
                (
                    bin_id,
                    condition.value,
                    row.raised,
                    row.worst.value if row.raised else None,
                    None if row.first_ms is None else rfc3339(row.first_ms),
                    row.spells,
                    round(row.spell_h, 1),
                    round(row.water_g_m2) if row.water_g_m2 else None,
                    row.told,
                )
                for (bin_id, condition), row in rows
            ],
            "bin",
            "condition",
            "alerts",
            "worst",
            "first raised",
            "spells",
            "hours",
            "water g/m²",
            "told",
        )
        until = "" if self._last_ms is None else f", the last at {rfc3339(self._last_ms)}"
        judged = counted(self._judgements, "judgement")
        click.echo(f"{judged} of {counted(len(self._setup.bins), 'bin')}{until}.")

    def _add_change(self, change: Transition) -> None:
        row = self._row(change.bin, change.condition)
        if change.alert is not None and change.kind is not TransitionKind.ALERT_RETURNED:
            row.worst = max(row.worst, change.alert.priority, key=lambda one: one.rank)
        if change.kind is TransitionKind.ALERT_RAISED:
            row.raised += 1
            row.first_ms = change.at_ms if row.first_ms is None else row.first_ms
        if change.kind is TransitionKind.SPELL_ENDED and change.spell is not None:
            row.spells += 1
            row.spell_h += (
                (change.spell.ended_ms or change.at_ms) - change.spell.began_ms
            ) / HOUR_MS
            row.water_g_m2 += change.spell.water_g_m2 or 0.0

    def _row(self, bin_id: str, condition: Condition) -> _Row:
        return self._rows.setdefault((bin_id, condition), _Row())
