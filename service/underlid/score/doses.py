"""What comes of advised amounts: the bin of that moment gets them and is left alone for days."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from underlid.journal.entries import (
    BeddingAdded,
    Entry,
    Feed,
    Harvest,
    LiquidAdded,
    Portion,
    What,
)
from underlid.journal.feedstocks import FEEDSTOCKS
from underlid.rules.finding import Advice, Condition
from underlid.score.matching import Raised
from underlid.simulate.deeds import WETTEST_PCT, apply
from underlid.simulate.headspace import Around
from underlid.simulate.physics import PhysicalBin
from underlid.timeline import DAY_MS, SECOND_MS

STEP_MS: Final = 150_000
LEAST_DAYS: Final = 3

WATER: Final = "add-water"
OVER: Final = "add-bedding"
INTO: Final = "mix-bedding"


@dataclass(frozen=True, slots=True)
class Dose:
    """What one alert advised, and by how many % points the bed missed the target."""

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
    """Return what comes of the amounts that *alert* advises, for the bin as it is at *at_ms*.

    Bedding over a feed is judged by the mixture it makes; all that is meant for the bed is given
    together, and the bed judged days later. Bedding for the lid's water alone moves no bed.
    """
    given = [one for one in alert.advice if one.act in (WATER, OVER, INTO)]
    for_lid = alert.condition is Condition.CONDENSATION
    over = [one for one in given if one.act == OVER and for_lid]
    into = [one for one in given if one not in over]
    told = alert.evidence.get("moisture_pct")
    told_pct = float(told) if isinstance(told, int | float) else None
    found = []
    for one in over if alert.feed_at_ms is not None else ():
        end_pct = _mixture_pct(alert, bed, one, entries)
        found.append(
            Dose(
                alert.condition, "over the feed", one.amount_g or 0.0, _target(one, target_pct),
                end_pct, told_pct, bed.moisture_pct,
            )
        )  # fmt: skip
    if into:
        end_pct = _followed(bed.copy(), given, around, at_ms)
        what = "water" if into[0].act == WATER else "into the bed"
        amount = sum(one.amount_ml or one.amount_g or 0.0 for one in into)
        found.append(
            Dose(
                alert.condition, what, amount, _target(into[0], target_pct), end_pct, told_pct,
                bed.moisture_pct,
            )
        )  # fmt: skip
    return found


def _target(advice: Advice, usual_pct: float) -> float:
    """Return what is said to be reached by the amount: the target, or less by what is given at once."""
    return _value(advice, "reaches_pct", _value(advice, "target_pct", usual_pct))


def _value(advice: Advice, key: str, usual: float) -> float:
    return float(advice.values.get(key, usual))


def _followed(
    bed: PhysicalBin, given: Sequence[Advice], around: Callable[[int], Around], at_ms: int
) -> float:
    """Do what the advice says, on the days it says, wait a day, and return the bed's moisture."""
    plan: list[tuple[int, What]] = []
    for advice in given:
        plan += _plan(advice, bed)
    last = max(max(day for day, _ in plan) + 1, LEAST_DAYS)
    for day in range(last):
        for when, what in plan:
            if when == day:
                apply(bed, what)
        at_ms = _pass(bed, 1, around, at_ms)
    return bed.moisture_pct


def _plan(advice: Advice, bed: PhysicalBin) -> list[tuple[int, What]]:
    """Return (day, deed) of one piece of advice."""
    count, every = (round(_value(advice, key, 1.0)) for key in ("portions", "every_days"))
    days = [every * at for at in range(count)]
    if advice.act == WATER:
        return [(day, LiquidAdded((advice.amount_ml or 0.0) / count)) for day in days]
    out_g = _value(advice, "take_out_g", 0.0)
    portion = Portion(_bedding_of(advice, bed), (advice.amount_g or 0.0) / count)
    given: list[tuple[int, What]] = [(day, BeddingAdded((portion,))) for day in days]
    return [(0, Harvest(out_g)), *given] if out_g else given


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
    return str(advice.values.get("bedding", bed.bin.bedding))
