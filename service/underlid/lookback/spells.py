"""Spells: how long one condition held, how bad it was, and the feed it is put down to.

A spell is over when its condition has been gone for the off-delay of its alert; until then it may go
on. What wavers about a limit is one spell. Its end is the moment at which the condition went.

A spell's worst value and its water are measured over the window when its condition goes, so they are the
same whether or not the service was restarted in between, and late data counts. Of a spell that is longer
than the window, the window's part is measured.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from underlid.alerts.alert import Spell, Transition, TransitionKind
from underlid.alerts.policy import DELAYS
from underlid.binmodel.day_means import day_means
from underlid.binmodel.lids.film import BUCKET_H, LidFilm
from underlid.binmodel.probes.hot import BUCKET_MS, BUCKETS_PER_DAY, WINDOW_BUCKETS
from underlid.binmodel.window import BinWindow
from underlid.rules.finding import Condition, Finding, Verdict
from underlid.science.numeric import Floats
from underlid.timeline import rfc3339

WATCHED: Final = (
    Condition.CONDENSATION,
    Condition.OVERHEATING,
    Condition.TOO_COLD,
    Condition.DRYING_OUT,
    Condition.TOO_WET,
)
"""The conditions of a bin that have a course worth looking back on."""


def step(
    spell: Spell | None, finding: Finding, window: BinWindow, film: LidFilm
) -> tuple[Spell | None, list[Transition]]:
    """Return the spell after *finding*, and its changes; one that may yet go on has its end already.

    UNKNOWN neither begins a spell nor lets its condition go; a forecast is none.
    """
    now_ms = window.now_ms
    changes = []
    if spell is not None and not may_go_on(spell, now_ms):
        reason = f"gone since {rfc3339(spell.ended_ms or now_ms)}"
        changes.append(_change(TransitionKind.SPELL_ENDED, spell, now_ms, reason))
        spell = None
    if finding.verdict is Verdict.UNKNOWN:
        return spell, changes
    if finding.verdict is not Verdict.HOLDS or finding.forecast_for_ms is not None:
        if spell is not None and spell.ended_ms is None:
            spell = _measured(replace(spell, ended_ms=now_ms), window, film)
        return spell, changes
    if spell is None:
        spell = _begun(finding, window)
        changes.append(_change(TransitionKind.SPELL_BEGAN, spell, now_ms, "the condition holds"))
    elif spell.ended_ms is not None:
        spell = replace(spell, ended_ms=None, peak=None, water_g_m2=None)
    return spell, changes


def may_go_on(spell: Spell, now_ms: int) -> bool:
    """Tell whether a spell runs, or its condition has not been gone for long enough to end it."""
    return spell.ended_ms is None or now_ms - spell.ended_ms < DELAYS[spell.condition].off_ms


def _begun(finding: Finding, window: BinWindow) -> Spell:
    return Spell(
        window.bin.id,
        finding.condition,
        window.now_ms,
        None,
        finding.grade,
        feed_at_ms=finding.feed_at_ms,
    )


def _measured(spell: Spell, window: BinWindow, film: LidFilm) -> Spell:
    """Return the spell with its worst value and, for a wet lid, the water that condensed, g/m²."""
    buckets = min(window.end - spell.began_ms // BUCKET_MS + 1, WINDOW_BUCKETS)
    if spell.condition is Condition.CONDENSATION:
        water = float(np.nansum(np.maximum(film.last_flux(buckets), 0.0))) * BUCKET_H
        return replace(spell, peak=_worst(film.last(buckets), 1.0), water_g_m2=round(water, 1))
    if spell.condition is Condition.OVERHEATING:
        return replace(spell, peak=_worst(window.hottest(buckets), 1.0))
    if spell.condition is Condition.TOO_COLD:
        return replace(spell, peak=_worst(window.means("bed_temp_c", buckets), -1.0))
    moisture = day_means(window.means("moisture_pct", buckets + BUCKETS_PER_DAY))
    return replace(
        spell, peak=_worst(moisture, -1.0 if spell.condition is Condition.DRYING_OUT else 1.0)
    )


def _worst(values: Floats, sign: float) -> float | None:
    """Return the highest (*sign* 1) or lowest (−1) known value, as shown; None without any."""
    known = values[~np.isnan(values)]
    return round(sign * float((sign * known).max()), 1) if len(known) else None


def _change(kind: TransitionKind, spell: Spell, now_ms: int, reason: str) -> Transition:
    return Transition(kind, now_ms, spell.bin, spell.condition, reason, spell=spell)
