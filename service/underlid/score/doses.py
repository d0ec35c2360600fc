"""What comes of advised amounts: the bin of that moment gets them and is left alone for days."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from underlid.journal.entries import BeddingAdded, Entry, Feed, LiquidAdded, Portion
from underlid.journal.feedstocks import FEEDSTOCKS
from underlid.rules.finding import Advice, Condition
from underlid.score.matching import Raised
from underlid.simulate.deeds import WETTEST_PCT, apply
from underlid.simulate.physics import Around, PhysicalBin
from underlid.timeline import DAY_MS, SECOND_MS

STEP_MS: Final = 150_000
LEAST_DAYS: Final = 3
MISTING_DAYS: Final = re.compile(r"for (\d+) days")
TARGET: Final = re.compile(r"\bG (\d+(?:\.\d+)?) %")
WATER_ACT: Final = "add-water"
BEDDING_ACT: Final = "add-bedding"


@dataclass(frozen=True, slots=True)
class Dose:
    """One advised amount, and by how many % points the bed missed the target."""

    condition: Condition
    act: str
    amount: float
    target_pct: float
    end_pct: float
    told_pct: float | None
    """The moisture that the judgement took the bed to have; None where it is not said."""
    was_pct: float

    @property
    def error_pct(self) -> float:
        """Return the moisture in the end less the target."""
        return self.end_pct - self.target_pct


def doses(
    alert: Raised,
    bed: PhysicalBin,
    target_pct: float,
    entries: Sequence[Entry],
    around: Callable[[int], Around],
    at_ms: int,
) -> list[Dose]:
    """Return what comes of each amount that *alert* advises, for the bin as it is at *at_ms*."""
    found = []
    for advice in alert.advice:
        if advice.act == WATER_ACT and advice.amount_ml:
            end_pct = _watered(bed.copy(), advice, around, at_ms)
        elif advice.act == BEDDING_ACT and advice.amount_g:
            stated = TARGET.search(advice.working)
            target_pct = float(stated[1]) if stated else target_pct
            if alert.feed_at_ms is not None and alert.condition is Condition.CONDENSATION:
                end_pct = _mixture_pct(alert, bed, advice, entries)
            else:
                end_pct = _bedded(bed.copy(), advice, around, at_ms)
        else:
            continue
        told = alert.evidence.get("moisture_pct")
        found.append(
            Dose(
                alert.condition,
                advice.act,
                float(advice.amount_ml or advice.amount_g or 0.0),
                target_pct,
                end_pct,
                float(told) if isinstance(told, int | float) else None,
                bed.moisture_pct,
            )
        )
    return found


def _watered(
    bed: PhysicalBin, advice: Advice, around: Callable[[int], Around], at_ms: int
) -> float:
    """Give the water on as many days as the advice says, then wait a day."""
    stated = MISTING_DAYS.search(advice.text)
    days = int(stated[1]) if stated else 1
    for _ in range(days):
        apply(bed, LiquidAdded((advice.amount_ml or 0.0) / days))
        at_ms = _pass(bed, 1, around, at_ms)
    _pass(bed, max(0, LEAST_DAYS - days), around, at_ms)
    return bed.moisture_pct


def _bedded(bed: PhysicalBin, advice: Advice, around: Callable[[int], Around], at_ms: int) -> float:
    apply(bed, BeddingAdded((Portion(_bedding_of(advice, bed), advice.amount_g or 0.0),)))
    _pass(bed, LEAST_DAYS, around, at_ms)
    return bed.moisture_pct


def _pass(bed: PhysicalBin, days: int, around: Callable[[int], Around], at_ms: int) -> int:
    until_ms = at_ms + days * DAY_MS
    while at_ms < until_ms:
        bed.step(STEP_MS / SECOND_MS, around(at_ms))
        at_ms += STEP_MS
    return at_ms


def _mixture_pct(
    alert: Raised, bed: PhysicalBin, advice: Advice, entries: Sequence[Entry]
) -> float:
    """Return the moisture of feed, lid water and all bedding together, as they really are."""
    water = bed.film_g_m2 * bed.bin.lid_area_m2
    mass = water
    for entry in entries:
        what = entry.what
        if entry.at_ms > alert.at_ms:
            break
        portions: tuple[Portion, ...] = ()
        if isinstance(what, Feed) and entry.at_ms == alert.feed_at_ms:
            for portion in what.portions:
                true_pct = FEEDSTOCKS[portion.ingredient].moisture_pct + bed.traits.feed_wetter_pct
                water += portion.mass_g * min(true_pct, WETTEST_PCT) / 100.0
                mass += portion.mass_g
            water, mass = water - what.drained_g, mass - what.drained_g
            portions = what.bedding
        elif isinstance(what, BeddingAdded) and entry.at_ms >= (alert.feed_at_ms or 0):
            portions = what.portions
        water += sum(one.mass_g * FEEDSTOCKS[one.ingredient].moisture_pct / 100 for one in portions)
        mass += sum(one.mass_g for one in portions)
    advised = advice.amount_g or 0.0
    water += advised * FEEDSTOCKS[_bedding_of(advice, bed)].moisture_pct / 100.0
    return 100.0 * water / (mass + advised)


def _bedding_of(advice: Advice, bed: PhysicalBin) -> str:
    """Return the bedding that the advice names."""
    named = [one for one in FEEDSTOCKS.values() if f"dry {one.label}" in advice.text]
    return named[0].id if named else bed.bin.bedding
