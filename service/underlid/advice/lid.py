"""What to do about a wet lid besides bedding."""

from __future__ import annotations

from underlid.rules.finding import Advice


def air_lid(*, foreseen: bool, cold: bool = False) -> tuple[Advice, ...]:
    """Return how the water on the lid is kept from raining back.

    *foreseen* while it is not there yet; the lid of a bed that is too *cold* stays shut.
    """
    if cold:
        what = "Wipe off what gathers on the lid" if foreseen else "Wipe the lid dry"
        return (
            Advice(
                "wipe-lid",
                f"{what}, and shut it again: the bed is cold.",
                working="A lid ajar would let the bed's warmth out. Common practice.",
            ),
        )
    return (
        Advice(
            "air-lid",
            "Leave the lid open a crack until this has passed, and wipe off what gathers."
            if foreseen
            else "Wipe the lid dry and leave it open a crack until the film has gone.",
            working=(
                "Opening once changes nothing (20 L of saturated air at 25 °C hold half a gram);"
                " a gap that stays lets the vapour out. Common practice."
            ),
        ),
    )
