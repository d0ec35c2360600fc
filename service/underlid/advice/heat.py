"""What to do about a bed that is too hot or too cold: the cause decides, the forecast says how much."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from underlid.advice.days import hold_feeding
from underlid.binmodel.food.uneaten import Food
from underlid.journal.units import SI, Units, about_mass_text, about_step_text, about_temp_text
from underlid.rules.finding import Advice

DRY_FEED_K: Final = 2.0
"""What 1.8 kg of coffee grounds add, bread more: computed, not measured (science page, heat)."""

ALL_SHARE: Final = 0.85
"""So much and more is all of it: nobody picks out the rest (our judgement)."""

LEAST_SHARE: Final = 0.05

FEW_K: Final = 3.0
"""A lid of foam or a room that is not heated gives so much (our judgement)."""


@dataclass(frozen=True, slots=True)
class Peak:
    """The hottest the bed is or will be, °C; what it would be there without its own heat, °C."""

    bed_c: float
    without_own_c: float
    foreseen: bool


def heat_advice(
    cause: str,
    peak: Peak | None,
    limit_c: float,
    fed_g: float | None,
    food: Food | None,
    units: Units = SI,
) -> tuple[Advice, ...]:
    """Return what cools a bed: heat of the feed is taken out and spread, heat of the room kept out.

    Parameters
    ----------
    cause
        "feed", "room" or nothing.
    peak
        How hot it gets, and its own part of it; None where that is not known.
    limit_c
        What the bed should stay below.
    fed_g
        The feed it is put down to, g, drained liquid taken off.
    food
        What is uneaten, for the days to hold feeding.
    """
    if cause == "feed":
        return (_less_feed(peak, limit_c, fed_g, units), *hold_feeding(food))
    own = "" if peak is None else f" Self-heat {peak.bed_c - peak.without_own_c:.1f} K."
    warmer = about_step_text(DRY_FEED_K, units)
    return (
        Advice(
            "cool-room",
            "Shade the bin, open the shed or carry the bin to a cooler place; a bottle of ice on"
            " the bed helps for hours. Hold bread and coffee grounds back: a large feed of them would"
            f" add {warmer} or more.",
            working=f"Cause {cause or 'not known'} from the bed's warming against its air.{own} Source:"
            " lumped balance; what cools is common practice.",
        ),
    )


def _less_feed(peak: Peak | None, limit_c: float, fed_g: float | None, units: Units) -> Advice:
    """Return how much of the feed to take out so that the bed stays below its limit, and to spread."""
    if fed_g is None:
        text = "Fork the top loose and spread it thin, so that the bed loses its heat."
        working = "No feed is written down that explains this heat, so no share of one is named."
        return Advice("spread-bed", text, working=f"{working} Common practice.")
    source = (
        " Heat goes with the food that is left, so with its share; spread thin it also loses its heat"
        " better. Source: lumped balance; share by proportion."
    )
    if peak is None:
        text = "Spread the feed thin or take part of it out."
        return Advice("spread-feed", text, working=f"How hot it gets is not known.{source}")
    own_k = peak.bed_c - peak.without_own_c
    share = min(1.0, (peak.bed_c - limit_c) / own_k) if own_k > 0.0 else 0.0
    when = "foreseen peak" if peak.foreseen else "bed now"
    working = (
        f"s = (T − L)/(T − T0): {when} T {peak.bed_c:.1f} °C, limit L {limit_c:.1f} °C, without its"
        f" own heat T0 {peak.without_own_c:.1f} °C gives {share:.2f} of what is left of the feed."
        f"{source}"
    )
    if share < LEAST_SHARE:
        return Advice("spread-feed", "Spread the feed thin.", working=working)
    amount_g = round((1.0 if share >= ALL_SHARE else share) * fed_g, -1)
    mass = f" (up to {about_mass_text(amount_g, units)})" if amount_g else ""
    if share >= ALL_SHARE:
        text = f"Take the feed out again, all you can reach{mass}"
    else:
        text = f"Take about {_share_text(share)} of the feed out{mass} and spread the rest thin"
    reach = about_temp_text(peak.bed_c, abs(peak.bed_c - limit_c), units)
    why = f"; otherwise the bed would reach about {reach}" if peak.foreseen else ""
    return Advice("spread-feed", f"{text}{why}.", amount_g=amount_g or None, working=working)


def _share_text(share: float) -> str:
    """Return a share in words.

    >>> _share_text(0.3), _share_text(0.48), _share_text(0.7), _share_text(0.15)
    ('a third', 'half', 'two thirds', 'a sixth')
    """
    words = {0.1: "a tenth", 1 / 6: "a sixth", 0.25: "a quarter", 1 / 3: "a third", 0.5: "half"}
    words |= {0.4: "two fifths", 2 / 3: "two thirds", 0.75: "three quarters"}
    return words[min(words, key=lambda one: abs(one - share))]


def cold_advice(units: Units = SI, *, short_k: float = 0.0) -> tuple[Advice, ...]:
    """Return what warms a bed without harm; *short_k* is what its coldest hour lacks, K."""
    warmer_k = max(FEW_K, round(short_k + 1.0))
    step = about_step_text(warmer_k, units)
    goal = (
        f"a few degrees (about {step}) are enough"
        if warmer_k <= FEW_K
        else f"it should be about {step} warmer"
    )
    return (
        Advice(
            "insulate",
            f"Insulate the bin or carry it indoors; {goal}. Feed less: cold worms eat little.",
            working="Common practice; mains heating beside a wet bed needs an electrician.",
        ),
    )
