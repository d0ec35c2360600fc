"""How much to feed next: what the herd eats until the feed after it, from its own appetite.

How fast food disappears, and what is left of it, is in `binmodel.food`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from underlid.advice.wording import text_of, worded
from underlid.binmodel.food.uneaten import LEAST_ACTIVITY, Food
from underlid.journal.units import SI, Units
from underlid.rules.finding import Advice
from underlid.timeline import HOUR_MS, rfc3339

FEED_DAYS: Final = 4.0
"""A feed is for so many days where the keeper's own habit is not known (our judgement)."""

FEED_DAYS_MOST: Final = 7.0
"""For more than a week at once is a heap that heats (our judgement)."""

COUNTED_G: Final = 10.0
"""Appetites are shown in steps of so many grams: the band is far wider (our judgement)."""


def feed_capacity(
    food: Food,
    bed_temp_c: float | None,
    *,
    careful: bool = False,
    waits: str = "",
) -> tuple[Advice, ...]:
    """Return the most to feed next, as advice; or to feed nothing while the herd does not eat.

    *careful* halves it: for a herd that has just been moved. *waits* says what comes first, if
    something does.
    """
    if waits:
        working = "Food makes it worse, and worms live on bedding meanwhile. Common practice."
        return (Advice("hold-feeding", f"Do not feed yet: {waits}.", working=working),)
    if food.activity < LEAST_ACTIVITY:
        working = f"Activity {food.activity:.2f} after Rosso 1993."
        if bed_temp_c is None:
            text = "Feed nothing for now: the herd hardly eats."
            return (Advice("hold-feeding", text, working=working),)
        return (Advice("hold-feeding", working=working, values={"bed_temp_c": bed_temp_c}),)
    days = next_feed_days(food)
    share = 0.5 if careful else 1.0
    exact_g = max(0.0, share * days * food.eaten_g_d - food.left_g)
    dose_g = round(exact_g / COUNTED_G) * COUNTED_G
    working = (
        f"{food.eaten_g_d:.0f} g a day (slow end {food.slow_g_d:.0f}) × {days:.1f} days"
        f"{' × a half, the herd is settling in' if careful else ''} less {food.left_g:.0f} g uneaten"
        f" gives {exact_g:.0f} g. Appetite by the bin's lesson × activity {food.activity:.2f} after"
        " Rosso 1993."
    )
    if dose_g <= 0.0:
        return (Advice("hold-feeding", "Feed nothing yet: enough is left.", working=working),)
    lasts_days = float(max(1, round(days)))
    values: dict[str, float | str] = {"lasts_days": lasts_days}
    return (Advice("feed-at-most", amount_g=dose_g, working=working, values=values),)


def feeding(
    food: Food | None,
    now_ms: int,
    *,
    careful: bool = False,
    waits: str = "",
    units: Units = SI,
) -> dict[str, object] | None:
    """Return what a bin's state says of its food and of the next feed; None without a written feed."""
    if food is None:
        return None
    (advice,) = worded(feed_capacity(food, None, careful=careful, waits=waits), units)
    due_ms = food.used_up_ms
    if due_ms is not None and round(food.left_g) <= 0:
        # What still rots warms the bed, but the herd has nothing before it any more.
        due_ms = min(due_ms, now_ms)
    return {
        "uneaten_g": round(food.left_g),
        "uneaten_most_g": round(food.left_most_g),
        "eaten_g_d": round(food.eaten_g_d),
        "next_feed_due": None if due_ms is None else rfc3339(_whole_hour(due_ms)),
        "next_feed_most_g": advice.amount_g or 0.0,
        "act": advice.act,
        "values": advice.values,
        "text": advice.text,
        "working": advice.working,
    }


def feeding_advice(feeding: Mapping[str, Any], units: Units) -> str:
    """Return the advice of a bin's state in *units*.

    >>> from underlid.journal.units import US
    >>> state = {"act": "feed-at-most", "values": {"lasts_days": 4.0}, "next_feed_most_g": 510.0}
    >>> feeding_advice(state, US)
    'Feed at most about 1.1 lb, enough for 4 days.'
    """
    amount_g = feeding.get("next_feed_most_g") or None
    text, values = str(feeding.get("text", "")), dict(feeding.get("values") or {})
    return text_of(Advice(str(feeding.get("act", "")), text, amount_g, values=values), units)


def _whole_hour(at_ms: int) -> int:
    return at_ms // HOUR_MS * HOUR_MS


def next_feed_days(food: Food) -> float:
    """Return the days that the next feed should last, by the keeper's habit."""
    usual = FEED_DAYS if food.usual_days is None else food.usual_days
    return min(max(usual, 1.0), FEED_DAYS_MOST)
