"""What to do about a bed that is too hot or too cold: the cause decides, the forecast says how much."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from underlid.advice.days import hold_feeding
from underlid.binmodel.food.uneaten import Food
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
        return (_less_feed(peak, limit_c, fed_g), *hold_feeding(food))
    own = "" if peak is None else f" Self-heat {peak.bed_c - peak.without_own_c:.1f} K."
    return (
        Advice(
            "cool-room",
            working=f"Cause {cause or 'not known'} from the bed's warming against its air.{own} Source:"
            " lumped balance; what cools is common practice.",
            values={"dry_feed_adds_k": DRY_FEED_K},
        ),
    )


def _less_feed(peak: Peak | None, limit_c: float, fed_g: float | None) -> Advice:
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
        return Advice("spread-feed", working=working, values={"take_out_share": 0.0})
    share = 1.0 if share >= ALL_SHARE else share
    values: dict[str, float | str] = {"take_out_share": share}
    if peak.foreseen:
        values |= {"peak_temp_c": peak.bed_c, "limit_c": limit_c}
    amount_g = round(share * fed_g, -1) or None
    return Advice("spread-feed", amount_g=amount_g, working=working, values=values)


def cold_advice(*, short_k: float = 0.0) -> tuple[Advice, ...]:
    """Return what warms a bed without harm; *short_k* is what its coldest hour lacks, K."""
    working = "Common practice; mains heating beside a wet bed needs an electrician."
    warmer_k = max(FEW_K, round(short_k + 1.0))
    return (Advice("insulate", working=working, values={"warmer_k": float(warmer_k)}),)
