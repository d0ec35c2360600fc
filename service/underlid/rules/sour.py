"""Sour: after a wet feed too few pores are left to air; or the keeper smells it.

The moisture at which air runs out depends on how dense the bed is, and lies below the herd's wet limit.
Where that limit is reached, `too_wet.py` speaks and this rule begins nothing new, seen or foreseen, unless
it smells.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from underlid.binmodel.food.feeds import water_over_g
from underlid.binmodel.known import Known
from underlid.binmodel.water.air import Air, air_now, moisture_ahead_pct
from underlid.binmodel.water.bed import Bed
from underlid.binmodel.water.drying import Drying
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry, Feed, Sighting, Smell
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.rules.moisture_evidence import LEVEL_SD_MOST_PCT, UNKNOWN_REASON, doubt_pct
from underlid.rules.too_wet import wet_now_pct
from underlid.timeline import DAY_MS, HOUR_MS

CHANCE: Final = 0.45
CHANCE_BY_GUESS: Final = 0.6
KEEPS_CHANCE: Final = 0.12
"""So likely too little air must be left, and so likely by a probe that met no weighed sample: most beds are
not as wet as its guess may say. And so much less keeps an alert. A low alert too many costs a fork in the
bed, one too few the herd its air; the sentence says how sure it is (our judgement)."""

SURELY: Final = 0.7
"""Of what is medium (our judgement)."""

LOSES_LEAST: Final = 0.03
"""A smaller share that the food's water will yet take is not worth a word: a point of moisture, where air
is scarce (our judgement)."""

CLOSED_BELOW: Final = 0.15
"""With so little air medium, not low (our judgement)."""

AHEAD_H: Final = (12, 24, 48, 72)

JUICY_G: Final = 500.0
JUICY_PCT: Final = 80.0
JUICY_MATTERS_MS: Final = 7 * DAY_MS
"""A wet feed: so many grams of food with so much water, drained liquid taken off, in the last week
(our judgement)."""

SMELL_LASTS_MS: Final = 3 * DAY_MS
BAD: Final = (Smell.SOUR, Smell.AMMONIA)
GOOD: Final = (Smell.EARTHY, Smell.NONE)

CERTAIN_BY_SMELL: Final = 0.9


def evaluate(window: BinWindow, known: Known, open_priority: Priority | None) -> Finding:
    """Return the verdict on the air in a bed."""
    drying, bed = known.drying, known.bed
    smelt_ms, smell = smelt(window)
    if drying is None and smell is None:
        return Finding(Condition.SOUR, Verdict.UNKNOWN, reason=UNKNOWN_REASON)
    evidence: dict[str, float | str] = {}
    if smell is not None:
        evidence["smell"] = smell.value
    feed = juicy_feed(window)
    well_ms = smelt_ms if smell in GOOD else None
    air = None if drying is None else air_now(window, drying, well_ms)
    if air is not None:
        evidence |= air.evidence(window.bin)
    asked = air is not None and (feed is not None or open_priority is not None)
    by_air = _by_air(air, open_priority) if air is not None and asked else None
    new = smell not in BAD and open_priority is None
    if new and asked and told_as_too_wet(window, drying):
        reason = "the wet limit is reached: told as too wet"
        return Finding(Condition.SOUR, Verdict.CLEAR, evidence=evidence, reason=reason)
    if smell not in BAD and by_air is None:
        if air is not None and bed is not None and feed is not None:
            return _ahead(window, air, bed, evidence, feed, open_priority)
        return Finding(Condition.SOUR, Verdict.CLEAR, evidence=evidence)
    certainty = CERTAIN_BY_SMELL if air is None or smell in BAD else min(0.95, air.chance())
    return Finding(
        Condition.SOUR,
        Verdict.HOLDS,
        _priority(smell, by_air),
        round(certainty, 2),
        evidence,
        cause="smell" if smell in BAD else "feed" if feed else "",
        feed_at_ms=feed.at_ms if feed else None,
    )


def _ahead(
    window: BinWindow,
    air: Air,
    bed: Bed,
    evidence: dict[str, float | str],
    feed: Entry,
    open_priority: Priority | None,
) -> Finding:
    """Return whether air will run out when the food has given its water to the bed."""
    enough = _enough(air, open_priority)
    for hours in AHEAD_H:
        then = air.at(moisture_ahead_pct(bed, hours, window.bin.kind))
        if then.chance() < enough or then.share > air.share - LOSES_LEAST:
            continue
        evidence["air_filled_porosity_ahead"] = round(then.share, 2)
        evidence["chance_pct"] = round(100.0 * then.chance())
        return Finding(
            Condition.SOUR,
            Verdict.HOLDS,
            Priority.LOW,
            round(then.chance(), 2),
            evidence,
            cause="feed",
            forecast_for_ms=window.now_ms + hours * HOUR_MS,
            feed_at_ms=feed.at_ms,
        )
    return Finding(Condition.SOUR, Verdict.CLEAR, evidence=evidence)


def smelt(window: BinWindow) -> tuple[int, Smell | None]:
    """Return when somebody last wrote down what the bin smelt of, not days ago, and of what."""
    for entry in reversed(window.entries):
        if entry.at_ms < window.now_ms - SMELL_LASTS_MS:
            break
        if isinstance(entry.what, Sighting) and entry.what.smell is not None:
            return entry.at_ms, entry.what.smell
    return window.now_ms, None


def _by_air(air: Air, open_priority: Priority | None) -> Priority | None:
    """Return the priority by how likely too little air is left, with a deadband."""
    if air.chance() < _enough(air, open_priority):
        return None
    return Priority.MEDIUM if air.chance(CLOSED_BELOW) >= SURELY else Priority.LOW


def _enough(air: Air, open_priority: Priority | None) -> float:
    """Return the chance that is enough to speak of it, or to go on."""
    guess = air.moisture_sd_pct > LEVEL_SD_MOST_PCT
    return (CHANCE_BY_GUESS if guess else CHANCE) - (KEEPS_CHANCE if open_priority else 0.0)


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
    if drying is None:
        return False
    return wet_now_pct(window, drying) - doubt_pct(drying) >= limit_pct
