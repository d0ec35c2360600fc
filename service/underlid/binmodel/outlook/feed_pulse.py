"""The warmth of feeds: how it comes and goes, for the past that is seen and for what is ahead.

Food falls apart (hydrolysis), then burns, both first order and faster in a warm bed; the sugars of fruit
and bread burn without falling apart first. The bed follows with its own time constant. How much, and how
fast, differs from bin to bin and from feed to feed: `bed_outlook.py` finds that out from the warmth that
has been seen. The analytic case, one pool at one temperature, is `science.heat.first_order_pulse_k`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.binmodel.feeds import UNKNOWN_MOISTURE_PCT
from underlid.binmodel.outlook.hours import FUTURE_H, after_lag
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Feed
from underlid.journal.feedstocks import FEEDSTOCKS
from underlid.science.heat import HEAT_MJ_KG_VS, decay_rate_factor
from underlid.science.numeric import Floats
from underlid.timeline import HOUR_MS

VOLATILE_SHARE: Final = 0.9
"""Of a feed's dry matter (common practice)."""

SENSIBLE_SHARE: Final = 0.65
"""About 35 % of the heat leaves as vapour (science page)."""

OXYGEN_W_M2: Final = 600.0
"""The most heat a square metre of bed can make, W: oxygen through 7 cm of bed with a third of air (0.27
kg/m³ of it, diffusion 3.8e-6 m²/s, 14 MJ per kg of oxygen, all from memory) is 200; three times that for
what comes in at the sides and by convection (our judgement)."""

HYDROLYSIS_PER_D: Final = 1.0
DECAY_PER_D: Final = 0.35
"""First-order rates at 20 °C (science page)."""

READY_PER_D: Final = 0.8
"""First-order rate at 20 °C of what need not fall apart first: sugars burn faster than pulp (our
judgement)."""


@dataclass(frozen=True, slots=True)
class Courses:
    """Ways in which food may decay: each a pace, the share of it that is ready to burn, a chance."""

    pace: Floats
    ready: Floats
    chance: Floats


USUAL: Final = Courses(np.array([1.0]), np.array([0.0]), np.array([1.0]))
COURSES: Final = Courses(
    np.array([0.55, 1.0, 1.8, 0.55, 1.0, 1.8]),
    np.array([0.0, 0.0, 0.0, 0.5, 0.5, 0.5]),
    np.array([0.125, 0.25, 0.125, 0.125, 0.25, 0.125]),
)
"""The rates are typical; a bin's own may be about half or twice as fast. And without the ready half a
bed that warms at once would seem to have a pulse many times as strong (our judgement)."""

BACK_H: Final = 240
"""Feeds and warmth of the last ten days count: a pool at 20 °C is then down to a thirtieth."""

APART_MOST: Final = 4
"""The newest feeds that are followed one by one; the ones before are one."""


@dataclass(frozen=True, slots=True)
class Pulses:
    """Feeds as pools: hours since the start of the span, and kg of volatile solids."""

    at_h: Floats
    volatile_kg: Floats


def pulses_of(window: BinWindow) -> Pulses:
    """Return the feeds of the span that begins `BACK_H` hours before `window.now_ms`.

    A feed that was written down since then is in it too.
    """
    start_ms = window.now_ms - BACK_H * HOUR_MS
    found = [
        ((entry.at_ms - start_ms) / HOUR_MS, volatile_kg(entry.what))
        for entry in window.entries
        if isinstance(entry.what, Feed) and entry.at_ms >= start_ms
    ]
    table = np.array(found).reshape(-1, 2)
    return Pulses(table[:, 0], table[:, 1])


def volatile_kg(feed: Feed) -> float:
    """Return the volatile solids of a feed's food; its bedding decays too slowly to warm anything.

    >>> from underlid.journal.entries import Portion
    >>> round(volatile_kg(Feed((Portion("bread", 1000.0),))), 3)
    0.576
    """
    dry_g = 0.0
    for portion in feed.portions:
        stock = FEEDSTOCKS.get(portion.ingredient)
        moisture_pct = stock.moisture_pct if stock else UNKNOWN_MOISTURE_PCT
        dry_g += portion.mass_g * (100.0 - moisture_pct) / 100.0
    return VOLATILE_SHARE * dry_g / 1000.0


def most_w(lid_area_m2: float) -> float:
    """Return the most sensible heat that oxygen lets a bed make, W.

    >>> print(round(most_w(0.18)))
    70
    """
    return OXYGEN_W_M2 * lid_area_m2 * SENSIBLE_SHARE


def warmth_k(
    pulses: Pulses,
    bed_c: Floats,
    lag_h: float,
    loss_w_k: float,
    limit_w: float,
    courses: Courses = COURSES,
) -> Floats:
    """Return how much each feed warms the bed: courses by feeds by hours, K.

    Parameters
    ----------
    bed_c
        The bed's temperature, hourly, over the past span and ahead: decay follows it.
    lag_h, loss_w_k
        τ and UA of the bin.
    limit_w
        What all feeds together can make at the most; each then has its share of it.
    """
    count = len(bed_c)
    speed = decay_rate_factor(np.clip(bed_c, 0.0, 60.0))
    clock = np.concatenate([[0.0], np.cumsum(speed)]) / 24.0
    middle = (clock[:-1] + clock[1:]) / 2.0
    began = np.interp(pulses.at_h, np.arange(count + 1), clock)
    age = np.maximum(middle - began[:, None], 0.0)
    pace, ready = courses.pace[:, None, None], courses.ready[:, None, None]
    hydrolysis, decay, sugar = (
        rate * pace for rate in (HYDROLYSIS_PER_D, DECAY_PER_D, READY_PER_D)
    )
    pulp = hydrolysis / (hydrolysis - decay) * (np.exp(-decay * age) - np.exp(-hydrolysis * age))
    at_once = sugar * np.exp(-sugar * age) * (middle >= began[:, None])
    burnt = speed * ((1.0 - ready) * decay * pulp + ready * at_once)
    watts = pulses.volatile_kg[:, None] * burnt * (HEAT_MJ_KG_VS * 1e6 * SENSIBLE_SHARE / 86_400.0)
    together = watts.sum(axis=1, keepdims=True)
    watts *= np.minimum(1.0, limit_w / np.maximum(together, 1e-9))
    return after_lag(_joined(watts / loss_w_k), lag_h, 0.0)


def _joined(each: Floats) -> Floats:
    """Return the newest feeds one by one, newest first, and all before them as one."""
    newest = each[:, ::-1][:, :APART_MOST]
    before = each[:, : max(0, each.shape[1] - APART_MOST)]
    if not before.shape[1]:
        return newest
    return np.concatenate([newest, before.sum(axis=1, keepdims=True)], axis=1)


SPAN_H: Final = BACK_H + FUTURE_H
