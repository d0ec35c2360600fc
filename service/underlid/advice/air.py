"""What else to do about a bed without air: loosen it, let it drain, and give it time."""

from __future__ import annotations

from underlid.advice.days import hold_feeding
from underlid.binmodel.food.uneaten import Food
from underlid.rules.finding import Advice


def drain() -> tuple[Advice, ...]:
    """Return what lets a wet bed dry besides bedding."""
    return (
        Advice(
            "drain",
            "Open the drain, if there is one, and hold wet feeds back.",
            working="What drains and evaporates needs no bedding. Common practice.",
        ),
    )


def loosen(smell: str, food: Food | None) -> tuple[Advice, ...]:
    """Return how air gets back into a bed; *smell* is "sour", "ammonia" or nothing."""
    first = {
        "ammonia": "Air the room first, then take what smells out and fork the top loose.",
        "sour": "Take the sour food out and fork the top loose.",
    }.get(smell, "Fork the top loose.")
    working = (
        "Rot without air makes acids and ammonia; air comes back through loose dry bedding. Common"
        " practice."
    )
    return (Advice("loosen", first, working=working), *hold_feeding(food))
