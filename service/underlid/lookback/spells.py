"""Spells: how long one condition held, how bad it was, and the feed it is put down to.

A spell's worst value and its water are measured over the window when it ends, so they are the same
whether or not the service was restarted in between, and late data counts. Of a spell that is longer
than the window, the window's part is measured.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from underlid.alerts.alert import Spell, Transition, TransitionKind
from underlid.binmodel.day_means import day_means
from underlid.binmodel.lids.film import BUCKET_H, LidFilm
from underlid.binmodel.probes.hot import BUCKET_MS, BUCKETS_PER_DAY, WINDOW_BUCKETS
from underlid.binmodel.window import BinWindow
from underlid.rules.finding import Condition, Finding, Verdict
from underlid.science.numeric import Floats

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
) -> tuple[Spell | None, Transition | None]:
    """Return the spell after *finding*, and its change if there was one.

    UNKNOWN neither begins nor ends a spell; a forecast is none.
    """
    if finding.verdict is Verdict.UNKNOWN:
        return spell, None
    now_ms = window.now_ms
    holds = finding.verdict is Verdict.HOLDS and finding.forecast_for_ms is None
    if spell is None:
        if not holds:
            return None, None
        spell = Spell(
            window.bin.id,
            finding.condition,
            now_ms,
            None,
            finding.grade,
            feed_at_ms=finding.feed_at_ms,
        )
        return spell, _change(TransitionKind.SPELL_BEGAN, spell, now_ms, "the condition holds")
    if holds:
        return spell, None
    ended = measured(replace(spell, ended_ms=now_ms), window, film)
    return None, _change(TransitionKind.SPELL_ENDED, ended, now_ms, "the condition has gone")


def measured(spell: Spell, window: BinWindow, film: LidFilm) -> Spell:
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
