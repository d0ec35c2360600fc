"""Sour: after a wet feed too few pores are left to air; or the keeper smells it.

The moisture at which air runs out depends on how dense the bed is, and lies below the herd's wet limit.
Where that limit is reached, `too_wet.py` speaks and this rule begins nothing new, unless it smells.
"""

from __future__ import annotations

from dataclasses import replace
from math import erf, sqrt
from typing import Final

from underlid.binmodel.drying import Drying
from underlid.binmodel.feeds import water_over_g
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry, Feed, Sighting, Smell
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.rules.levels import level
from underlid.rules.moisture_evidence import UNKNOWN_REASON, doubt_pct
from underlid.science.moisture import SOUR_BELOW, air_filled_porosity
from underlid.timeline import DAY_MS

DEADBAND: Final = 0.03
CLOSED_BELOW: Final = 0.15
"""With so little air medium, not low (our judgement)."""

JUICY_G: Final = 500.0
JUICY_PCT: Final = 80.0
JUICY_MATTERS_MS: Final = 7 * DAY_MS
"""A wet feed: so many grams of food with so much water, drained liquid taken off, in the last week
(our judgement)."""

SMELL_LASTS_MS: Final = 3 * DAY_MS
BAD: Final = (Smell.SOUR, Smell.AMMONIA)

CERTAIN_BY_SMELL: Final = 0.9
WETTEST_PCT: Final = 99.0


def evaluate(window: BinWindow, drying: Drying | None, open_priority: Priority | None) -> Finding:
    """Return the verdict on the air in a bed."""
    smell = smell_now(window)
    if drying is None and smell is None:
        return Finding(Condition.SOUR, Verdict.UNKNOWN, reason=UNKNOWN_REASON)
    evidence: dict[str, float | str] = {}
    if smell is not None:
        evidence["smell"] = smell.value
    feed = juicy_feed(window)
    by_air = None
    certainty = CERTAIN_BY_SMELL
    if drying is not None:
        by_air, chance = _by_air(window, drying, open_priority, evidence)
        certainty = certainty if smell in BAD else chance
        if feed is None and open_priority is None:
            by_air = None
    if smell not in BAD and by_air is None:
        return Finding(Condition.SOUR, Verdict.CLEAR, evidence=evidence)
    if smell not in BAD and open_priority is None and told_as_too_wet(window, drying):
        reason = "the wet limit is reached: told as too wet"
        return Finding(Condition.SOUR, Verdict.CLEAR, evidence=evidence, reason=reason)
    return Finding(
        Condition.SOUR,
        Verdict.HOLDS,
        _priority(smell, by_air),
        round(certainty, 2),
        evidence,
        cause="smell" if smell in BAD else "feed" if feed else "",
        feed_at_ms=feed.at_ms if feed else None,
    )


def smell_now(window: BinWindow) -> Smell | None:
    """Return what the bin smelt of when somebody last wrote it down, not days ago."""
    for entry in reversed(window.entries):
        if entry.at_ms < window.now_ms - SMELL_LASTS_MS:
            return None
        if isinstance(entry.what, Sighting) and entry.what.smell is not None:
            return entry.what.smell
    return None


def _by_air(
    window: BinWindow,
    drying: Drying,
    open_priority: Priority | None,
    evidence: dict[str, float | str],
) -> tuple[Priority | None, float]:
    """Return the priority by the air-filled pores, and how likely they are below the limit."""
    density, sd_pct = window.bin.dry_density_kg_l, window.moisture_sd_pct()
    level_pct = min(drying.level_pct, WETTEST_PCT)
    air = float(air_filled_porosity(level_pct, density))
    air_sd = density * sd_pct / 100.0 / (1.0 - level_pct / 100.0) ** 2
    believed = float(air_filled_porosity(max(0.0, level_pct - doubt_pct(window)), density))
    evidence |= {
        "moisture_pct": round(drying.level_pct, 1),
        "moisture_sd_pct": sd_pct,
        "air_filled_porosity": round(air, 2),
        "air_filled_porosity_sd": round(air_sd, 2),
        "air_filled_porosity_limit": SOUR_BELOW,
        "dry_density_kg_l": density,
    }
    held = None if open_priority is None else Priority.LOW
    limits = ((-SOUR_BELOW, Priority.LOW), (-CLOSED_BELOW, Priority.MEDIUM))
    chance = 0.5 * (1.0 + erf((SOUR_BELOW - air) / air_sd / sqrt(2.0)))
    return level(-believed, limits, held, DEADBAND), min(0.95, chance)


def _priority(smell: Smell | None, by_air: Priority | None) -> Priority:
    """A smell is acted on; a smell where there is no air is acted on today."""
    if smell in BAD:
        return Priority.MEDIUM if by_air is None else Priority.HIGH
    return by_air or Priority.LOW


def juicy_feed(window: BinWindow) -> Entry | None:
    """Return the newest feed that was big and wet enough to close pores, not long ago."""
    for entry in reversed(window.entries):
        if entry.at_ms < window.now_ms - JUICY_MATTERS_MS:
            return None
        if isinstance(entry.what, Feed):
            food = replace(entry.what, bedding=())
            if food.mass_g >= JUICY_G and water_over_g(food, JUICY_PCT) >= 0.0:
                return entry
    return None


def told_as_too_wet(window: BinWindow, drying: Drying | None) -> bool:
    """Tell whether the wet limit is reached, so that `too_wet.py` speaks of the water."""
    limit_pct = window.limits.moisture_high_warn_pct
    return drying is not None and drying.level_pct - doubt_pct(window) >= limit_pct
