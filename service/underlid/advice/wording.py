"""The sentence of an advice, from its values, in the keeper's units: the one place that words amounts.

How the values are worked out is in the files beside this one. What has no amount in it is a sentence
from the beginning and stays as it is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Final

from underlid.advice.heat import FEW_K
from underlid.journal.feedstocks import FEEDSTOCKS
from underlid.journal.units import (
    SI,
    Units,
    about_mass_text,
    about_step_text,
    about_temp_text,
    about_volume_text,
    mass_text,
    temp_text,
)
from underlid.rules.finding import Advice

MOST_OUT_SHARE: Final = 0.4
ANEW: Final = (
    " So wet a bed is sooner set up anew: fresh bedding on one side, the herd led over with food, and the"
    " water's way in closed."
)
"""When so much of a bed would have to come out to dry the rest (our judgement)."""

LOOK_DAYS: Final = 4
"""A dose that takes so long is looked after half way (our judgement)."""

FEEL_FIRST: Final = (
    "Squeeze a handful first: no weighed sample says how dry the bed is, and if it holds together give"
    " nothing. "
)


def worded(advices: Iterable[Advice], units: Units = SI) -> tuple[Advice, ...]:
    """Return pieces of advice with their sentences."""
    return tuple(replace(one, text=text_of(one, units)) for one in advices)


def text_of(advice: Advice, units: Units = SI) -> str:
    """Return the sentence of an advice; one without values has it already."""
    return _SAYINGS[advice.act](advice, units) if advice.values else advice.text


def _number(advice: Advice, key: str, default: float = 0.0) -> float:
    return float(advice.values.get(key, default))


def _bedding(advice: Advice, units: Units) -> str:
    """Return where so much bedding goes: over a feed, under a wet lid, or into the bed."""
    amount_g, where = advice.amount_g or 0.0, advice.values["where"]
    dose = f"about {about_mass_text(amount_g, units)} of {_dry_bedding(advice)}"
    if where == "into-bed":
        return _drier_bed(advice, dose, units)
    over = "over the feed" if where == "over-feed" else "over the bed"
    return f"Add {dose} {over}{_split(advice, units)}."


def _drier_bed(advice: Advice, dose: str, units: Units) -> str:
    """Return how the whole bed is brought to its target."""
    out = about_mass_text(_number(advice, "take_out_g"), units)
    taken = "take_out_g" in advice.values
    begin = f"Take about {out} of the wet bed out first, then mix" if taken else "Mix"
    part = about_mass_text(_number(advice, "first_part_g"), units)
    first = f" The first {part} bring it below its limit." * ("first_part_g" in advice.values)
    anew = ANEW * (_number(advice, "take_out_share") > MOST_OUT_SHARE)
    into = "into the top of " + ("what is left" if taken else "the bed")
    return f"{begin} {dose} {into}{_split(advice, units)}.{first}{anew}"


def _mixed(advice: Advice, units: Units) -> str:
    mass = about_mass_text(advice.amount_g or 0.0, units)
    beside = _number(advice, "beside_g") > 0.0
    dose = f"another {mass}" if beside else f"about {mass} of {_dry_bedding(advice)}"
    return f"The bed itself is above its target: mix {dose} into its top{_split(advice, units)}."


def _dry_bedding(advice: Advice) -> str:
    return FEEDSTOCKS[str(advice.values["bedding"])].dry_label


def _split(advice: Advice, units: Units) -> str:
    """Return how a large dose of bedding is split, as a clause; empty for one that fits at once."""
    count = round(_number(advice, "portions", 1.0))
    if count == 1:
        return ""
    each = mass_text(_even_g((advice.amount_g or 0.0) / count), units)
    days = round(_number(advice, "every_days"))
    return f", in {count} portions of {each}, one every {days} days"


def _even_g(mass_g: float) -> float:
    """Return a mass to about two figures."""
    if mass_g <= 0.0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(mass_g)) - 1)
    return round(mass_g / step) * step


def _water(advice: Advice, units: Units) -> str:
    amount_ml, days = advice.amount_ml or 0.0, round(_number(advice, "portions", 1.0))
    each = about_volume_text(round(amount_ml / days / 10.0) * 10.0, units)
    spread = "" if days == 1 else f", about {each} a day for {days} days"
    first = FEEL_FIRST if "moisture_by" in advice.values else ""
    give = _cover(advice, units) if "soaks_ml_d" in advice.values else "Give"
    dose = f"about {about_volume_text(amount_ml, units)} of water"
    return f"{first}{give} {dose}{spread}.{_look(advice, days)}"


def _cover(advice: Advice, units: Units) -> str:
    """Return what comes before water that would dry away as fast as it soaks in."""
    loss, soaks = (
        about_volume_text(_number(advice, key), units) for key in ("loss_ml_d", "soaks_ml_d")
    )
    return (
        "Before any water, cover the bed and close the bin, or move it to less dry air: it loses about"
        f" {loss} a day, and only about {soaks} a day soaks in. Then give"
    )


def _look(advice: Advice, days: int) -> str:
    """Return when to look again before all is given, and how far what is given reaches."""
    reached = f"{_number(advice, 'reaches_pct'):.0f} %"
    if "soaks_ml_d" in advice.values:
        kept = f"that only keeps the bed at about {reached}"
        return f" While it loses so much, {kept}; then look again."
    if "reaches_pct" in advice.values:
        return f" That brings the bed to about {reached}; then look again: more may be needed."
    if days > 1 and ("moisture_by" in advice.values or days >= LOOK_DAYS):
        return " Squeeze a handful half way; stop when it is damp."
    return ""


def _feed_at_most(advice: Advice, units: Units) -> str:
    days = round(_number(advice, "lasts_days"))
    lasts = "a day" if days == 1 else f"{days} days"
    return (
        f"Feed at most about {about_mass_text(advice.amount_g or 0.0, units)}, enough for {lasts}."
    )


def _hold_feeding(advice: Advice, units: Units) -> str:
    at = temp_text(_number(advice, "bed_temp_c"), units)
    return f"Feed nothing for now: at {at} the herd hardly eats."


def _cool_room(advice: Advice, units: Units) -> str:
    warmer = about_step_text(_number(advice, "dry_feed_adds_k"), units)
    return (
        "Shade the bin, open the shed or carry the bin to a cooler place; a bottle of ice on"
        " the bed helps for hours. Hold bread and coffee grounds back: a large feed of them would"
        f" add {warmer} or more."
    )


def _spread_feed(advice: Advice, units: Units) -> str:
    """Return how much of the feed comes out; a share of 1 is all, and of 0 nothing."""
    share = _number(advice, "take_out_share")
    if share == 0.0:
        return "Spread the feed thin."
    mass = f" (up to {about_mass_text(advice.amount_g, units)})" if advice.amount_g else ""
    text = f"Take the feed out again, all you can reach{mass}"
    if share < 1.0:
        text = f"Take about {_share_text(share)} of the feed out{mass} and spread the rest thin"
    if "peak_temp_c" not in advice.values:
        return f"{text}."
    peak_c, limit_c = (_number(advice, key) for key in ("peak_temp_c", "limit_c"))
    reach = about_temp_text(peak_c, abs(peak_c - limit_c), units)
    return f"{text}; otherwise the bed would reach about {reach}."


def _share_text(share: float) -> str:
    """Return a share in words.

    >>> _share_text(0.3), _share_text(0.48), _share_text(0.7), _share_text(0.15)
    ('a third', 'half', 'two thirds', 'a sixth')
    """
    words = {0.1: "a tenth", 1 / 6: "a sixth", 0.25: "a quarter", 1 / 3: "a third", 0.5: "half"}
    words |= {0.4: "two fifths", 2 / 3: "two thirds", 0.75: "three quarters"}
    return words[min(words, key=lambda one: abs(one - share))]


def _insulate(advice: Advice, units: Units) -> str:
    warmer_k = _number(advice, "warmer_k")
    step = about_step_text(warmer_k, units)
    goal = (
        f"a few degrees (about {step}) are enough"
        if warmer_k <= FEW_K
        else f"it should be about {step} warmer"
    )
    return f"Insulate the bin or carry it indoors; {goal}. Feed less: cold worms eat little."


_SAYINGS: Final[dict[str, Callable[[Advice, Units], str]]] = {
    "add-bedding": _bedding,
    "mix-bedding": _mixed,
    "add-water": _water,
    "feed-at-most": _feed_at_most,
    "hold-feeding": _hold_feeding,
    "cool-room": _cool_room,
    "spread-feed": _spread_feed,
    "insulate": _insulate,
}
