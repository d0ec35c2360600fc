"""For how many days nothing should be fed: until what lies there is eaten; and what a feed waits for."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final, Protocol

from underlid.binmodel.food.uneaten import LEAST_ACTIVITY, Food
from underlid.rules.finding import Advice, Condition

HOLD_DAYS: Final = 3
"""Without a written feed: indoor vessels heat up in two to three days [cornell-physics]; by then it
is known."""

HOLD_WORKING: Final = (
    f"{HOLD_DAYS} days: by then the feed's heat is known. Source: Cornell composting pages, vessels indoors"
    " heat up in two to three days."
)

HOLD_MOST_DAYS: Final = 14
"""Longer than two weeks nobody foresees (our judgement)."""


WAITS_FOR: Final = (
    (Condition.SOUR, "first its bed needs air again"),
    (Condition.OVERHEATING, "first its bed must stay cool"),
    (Condition.TOO_WET, "first its bed must get drier"),
)
"""What comes before hunger: food makes each of these worse, and worms live on bedding meanwhile."""


class Said(Protocol):
    """A finding that holds, or an alert that is open."""

    @property
    def condition(self) -> Condition:
        """Return what it is about."""

    @property
    def cause(self) -> str:
        """Return what it comes from."""


def waits_for(said: Iterable[Said]) -> str:
    """Return what the next feed waits for, as a clause; nothing if it need not wait.

    Heat of the room does not count: food makes little of it.
    """
    hold = {
        one.condition
        for one in said
        if one.condition is not Condition.OVERHEATING or one.cause == "feed"
    }
    return next((why for condition, why in WAITS_FOR if condition in hold), "")


def hold_feeding(food: Food | None) -> tuple[Advice, ...]:
    """Return for how many days to feed nothing, from what is uneaten and the herd's appetite."""
    eats = food is not None and food.eaten_g_d > 0.0 and food.activity >= LEAST_ACTIVITY
    if food is None or food.left_g <= 0.0 or not eats:
        days, working = HOLD_DAYS, HOLD_WORKING
    else:
        exact = food.left_g / food.eaten_g_d
        days = min(max(math.ceil(exact), HOLD_DAYS), HOLD_MOST_DAYS)
        working = (
            f"{food.left_g:.0f} g are uneaten and the herd eats {food.eaten_g_d:.0f} g a day at this"
            f" temperature: {exact:.1f} days; at least {HOLD_DAYS} and at most {HOLD_MOST_DAYS}"
            " (our judgement). Appetite by the bin's lesson."
        )
    text = f"Do not feed for {days} days."
    return (Advice("hold-feeding", text, days=float(days), working=working),)
