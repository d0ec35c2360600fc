"""What one bucket would do in each bin: parts, warmth, lid, clear date, bedding, spare liquid.

Each bin is asked with the code that foresees live, with its part put into its journal for the question.
Nothing is written down by it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from underlid.advice.balance import Balance, dose_g
from underlid.advice.bedding import LEAST_G, drier_than, rounded_g, wet_balance
from underlid.advice.bucket import (
    Taker,
    lacking_ml,
    moisture_with_pct,
    part_of_feed,
    parts_of,
    ratio_of,
    soaks_in_ml,
    spare_liquid_ml,
)
from underlid.advice.capacity import FEED_DAYS
from underlid.binmodel.bins import Bin
from underlid.binmodel.herd import limits_of
from underlid.binmodel.outlook.forecast import Course
from underlid.binmodel.outlook.what_if import WhatIf, what_if
from underlid.journal.entries import Feed
from underlid.journal.feedstocks import FEEDSTOCKS, Feedstock
from underlid.pipeline import day_offset_ms
from underlid.timeline import HOUR_MS, parse_time_ms
from underlid.web.context import Context
from underlid.workers.kept_judges import KeptJudges

HOT_CHANCE: Final = 0.5
"""A part that makes its bed pass the first limit as likely as not is made smaller (our judgement)."""

Ask = Callable[[Feed | None], WhatIf | None]


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What a bin would do with its part."""

    bin: Bin
    feed: Feed
    part_g: float
    peak: tuple[float, float, float, int] | None
    """The bed at its warmest: middle, low and high of the band, °C, and when."""
    hot_chance: float | None
    hot_limit_c: float
    wet_chance: float | None
    wet_chance_without: float | None
    clear_ms: int | None
    moisture_pct: float | None
    bedding: Feedstock
    bedding_g: float
    """The dose that brings the part to the moisture that the bin keeps; 0 for none."""


@dataclass(frozen=True, slots=True)
class Answer:
    """The bucket, where it may go, why not elsewhere, and where its liquid may go."""

    feed: Feed
    balance: Balance
    ratio: float | None
    bins: list[Foreseen]
    left_g: float
    others: list[tuple[Bin, str]]
    liquid: dict[str, float]
    liquid_left_ml: float


def answer_for(
    context: Context, judges: KeptJudges, among: Mapping[str, Bin], feed: Feed, into: str
) -> Answer:
    """Return what *feed* would do: all of it in bin *into*, or shared out *among* when that is ""."""
    asks = {bin_id: _asker(judges, bin_id) for bin_id in among}
    takers = {bin_id: _taker(context, bin_id, asks[bin_id], feed) for bin_id in among}

    def heats(bin_id: str, part_g: float) -> bool:
        found = asks[bin_id](part_of_feed(feed, part_g))
        limit_c = limits_of(among[bin_id]).hot_warn_c
        chance = None if found is None else _last(found.forecast.hot_chance, limit_c)
        return chance is not None and chance > HOT_CHANCE

    known = [taker for taker, _ in takers.values() if taker is not None]
    parts = {into: feed.mass_g} if into else parts_of(feed.mass_g, known, heats)
    bins = [
        _foreseen(among[bin_id], part_of_feed(feed, part_g), part_g, asks[bin_id])
        for bin_id, part_g in parts.items()
    ]
    liquid = _liquid(among, asks, {one.bin.id: one.feed for one in bins}, feed.drained_g)
    return Answer(
        feed,
        wet_balance(feed, 0.0),
        ratio_of(feed),
        bins,
        feed.mass_g - sum(parts.values()),
        [] if into else [(among[one], takers[one][1]) for one in asks if one not in parts],
        liquid,
        feed.drained_g - sum(liquid.values()),
    )


def _asker(judges: KeptJudges, bin_id: str) -> Ask:
    """Return what asks bin *bin_id* about a feed."""
    begins_ms = day_offset_ms(bin_id)
    return lambda feed: judges.ask(
        bin_id,
        lambda window, memory: what_if(window, memory.film, memory.outlook.drying, begins_ms, feed),
    )


def _taker(context: Context, bin_id: str, ask: Ask, feed: Feed) -> tuple[Taker | None, str]:
    """Return what a bin may have at most, None where that is not known; and what speaks against it."""
    state: dict[str, Any] = context.judged.state(bin_id) or {}
    feeding = state.get("feeding")
    if feeding:
        due_ms = parse_time_ms(feeding["next_feed_due"]) if feeding["next_feed_due"] else None
        most_g = float(feeding["next_feed_most_g"])
        why = "The bucket is empty before its turn comes, or would make its bed too warm."
        return Taker(bin_id, most_g, due_ms), why if most_g else str(feeding["text"])
    found = ask(feed)
    if found is None or found.food is None:
        return None, "Cannot tell: its bed's temperature is not known."
    return Taker(bin_id, found.food.eaten_g_d * FEED_DAYS), "No feed of it is written down."


def _foreseen(one: Bin, feed: Feed, part_g: float, ask: Ask) -> Foreseen:
    """Return what a bin would do with *feed*, beside what it does without."""
    limits = limits_of(one)
    found, without = ask(feed), ask(None)
    forecast = None if found is None else found.forecast
    balance = wet_balance(feed, 0.0)
    dry_g = balance.mass_g - balance.water_g
    wet = limits.film_warn_g_m2
    bedding = drier_than(one.target_moisture_pct, FEEDSTOCKS[one.bedding])
    return Foreseen(
        one,
        feed,
        part_g,
        None if found is None else _peak(found.forecast.bed_temp_c, found.forecast.at_ms),
        None if forecast is None else _last(forecast.hot_chance, limits.hot_warn_c),
        limits.hot_warn_c,
        None if forecast is None else _last(forecast.wet_chance, wet),
        None if without is None else _last(without.forecast.wet_chance, wet),
        found.food.used_up_ms if found and found.food else None,
        moisture_with_pct(found.bed, balance.water_g, dry_g) if found and found.bed else None,
        bedding,
        _bedding_g(balance, one.target_moisture_pct, bedding),
    )


def _bedding_g(balance: Balance, target_pct: float, bedding: Feedstock) -> float:
    """Return the bedding that brings a feed to the target; 0 when it is too little to carry."""
    if bedding.moisture_pct >= target_pct:
        return 0.0
    amount_g = rounded_g(dose_g(balance, target_pct, bedding))
    return amount_g if amount_g >= LEAST_G else 0.0


def _peak(course: Course | None, at_ms: int) -> tuple[float, float, float, int] | None:
    if course is None:
        return None
    hour = int(np.argmax(course.middle))
    return (
        float(course.middle[hour]),
        float(course.low[hour]),
        float(course.high[hour]),
        at_ms + (hour + 1) * HOUR_MS,
    )


def _last(chances: dict[float, Any], limit: float) -> float | None:
    """Return the chance to have passed a limit by the end of what is foreseen."""
    return float(chances[limit][-1]) if limit in chances else None


def _liquid(
    among: Mapping[str, Bin], asks: dict[str, Ask], feeds: dict[str, Feed], liquid_ml: float
) -> dict[str, float]:
    """Return how much of the drained liquid each bin may have."""
    if liquid_ml <= 0.0:
        return {}
    lacks, most = {}, {}
    for bin_id, ask in asks.items():
        found = ask(None)
        if found is None or found.bed is None:
            continue
        own = feeds.get(bin_id)
        water_g = 0.0 if own is None else wet_balance(own, 0.0).water_g
        lacks[bin_id] = lacking_ml(found.bed, among[bin_id].target_moisture_pct, water_g)
        most[bin_id] = soaks_in_ml(found.bed)
    return spare_liquid_ml(liquid_ml, lacks, most)
