"""Spells: how long one condition held, how bad it was, and the feed it is put down to."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from underlid.alerts.alert import Spell, Transition, TransitionKind
from underlid.rules.finding import Condition, Finding, Verdict

WATCHED: Final = {
    Condition.CONDENSATION: ("lid_film_g_m2", 1.0),
    Condition.OVERHEATING: ("bed_temp_c", 1.0),
    Condition.TOO_COLD: ("bed_temp_c", -1.0),
    Condition.DRYING_OUT: ("moisture_pct", -1.0),
    Condition.TOO_WET: ("moisture_pct", 1.0),
}
"""The evidence whose worst value is a spell's peak, and which way is worse."""


def step(
    spell: Spell | None, finding: Finding, bin_id: str, now_ms: int, step_h: float
) -> tuple[Spell | None, Transition | None]:
    """Return the spell after *finding*, *step_h* hours after the one before, and its change.

    UNKNOWN neither begins nor ends one.
    """
    if finding.condition not in WATCHED or finding.verdict is Verdict.UNKNOWN:
        return spell, None
    holds = finding.verdict is Verdict.HOLDS and finding.forecast_for_ms is None
    if spell is None:
        if not holds:
            return None, None
        spell = _worse(
            Spell(
                bin_id, finding.condition, now_ms, None, finding.grade, water_g_m2=_water(finding)
            ),
            finding,
            0.0,
        )
        return spell, _change(TransitionKind.SPELL_BEGAN, spell, now_ms, "the condition holds")
    if holds:
        return _worse(spell, finding, step_h), None
    ended = replace(spell, ended_ms=now_ms)
    return None, _change(TransitionKind.SPELL_ENDED, ended, now_ms, "the condition has gone")


def _worse(spell: Spell, finding: Finding, step_h: float) -> Spell:
    """Return the spell with this finding's value, water and feed taken in."""
    key, sign = WATCHED[spell.condition]
    value = finding.evidence.get(key)
    peak = spell.peak
    if isinstance(value, float | int) and (peak is None or sign * value > sign * peak):
        peak = float(value)
    water = spell.water_g_m2
    flux = finding.evidence.get("condensing_g_m2_h")
    if water is not None and isinstance(flux, float) and flux > 0.0:
        water = round(water + flux * step_h, 3)
    feed_at_ms = spell.feed_at_ms if spell.feed_at_ms is not None else finding.feed_at_ms
    return replace(spell, peak=peak, water_g_m2=water, feed_at_ms=feed_at_ms)


def _water(finding: Finding) -> float | None:
    """Return the water on the lid when a condensation spell begins, g/m²; None for others."""
    film = finding.evidence.get("lid_film_g_m2")
    return float(film) if isinstance(film, float | int) else None


def _change(kind: TransitionKind, spell: Spell, now_ms: int, reason: str) -> Transition:
    return Transition(kind, now_ms, spell.bin, spell.condition, reason, spell=spell)
