"""What to do about a bed that is too hot or too cold: the cause decides."""

from __future__ import annotations

from typing import Final

from underlid.journal.units import SI, Units, temp_step_text
from underlid.rules.finding import Advice

HOLD_DAYS: Final = 3.0
"""Indoor vessels heat up in two to three days [cornell-physics]; by then it is known."""

DRY_FEED_K: Final = 2.0
"""What 1.8 kg of coffee grounds add, bread more: computed, not measured (science page, heat)."""


def heat_advice(
    cause: str, self_heat_k: float | None, feed_age_h: float | None, units: Units = SI
) -> tuple[Advice, ...]:
    """Return what cools a bed: for heat of the feed spread and hold, for heat of the room shade."""
    own = "" if self_heat_k is None else f" Self-heat {self_heat_k:.1f} K."
    working = f"Cause {cause or 'not known'} from the bed's own warming against its air.{own}"
    if cause == "feed":
        age = "" if feed_age_h is None else f", fed {feed_age_h:.0f} h ago"
        return (
            Advice(
                "spread-feed",
                f"Spread the feed thin or take part of it out{age}.",
                working=working,
            ),
            Advice(
                "hold-feeding",
                f"Do not feed for {HOLD_DAYS:.0f} days.",
                days=HOLD_DAYS,
                working=working,
            ),
        )
    warmer = temp_step_text(DRY_FEED_K, units)
    return (
        Advice(
            "cool-room",
            "Shade the bin, open the shed or carry the bin to a cooler place; a bottle of ice on"
            " the bed helps for hours. Hold bread and coffee grounds back: a large feed of them would"
            f" add {warmer} or more.",
            working=working,
        ),
    )


def cold_advice(units: Units = SI) -> tuple[Advice, ...]:
    """Return what warms a bed without harm."""
    step = temp_step_text(3.0, units)
    return (
        Advice(
            "insulate",
            f"Insulate the bin or carry it indoors; a few degrees ({step}) are enough. Feed less:"
            " cold worms eat little.",
            working="Common practice; mains heating beside a wet bed needs an electrician.",
        ),
    )
