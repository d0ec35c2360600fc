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

from underlid.binmodel.outlook.hours import after_lag
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Feed
from underlid.journal.feedstocks import moisture_pct_of
from underlid.science.heat import (
    DECAY_PER_D,
    HEAT_MJ_KG_VS,
    HYDROLYSIS_PER_D,
    decay_rate_factor,
)
from underlid.science.numeric import Floats
from underlid.timeline import HOUR_MS

VOLATILE_SHARE: Final = 0.9
"""Of a feed's dry matter (common practice)."""

SENSIBLE_SHARE: Final = 0.65
"""About 35 % of the heat leaves as vapour (science page)."""

OXYGEN_W_M2: Final = 600.0
"""The most heat a square metre of bed can make, W: oxygen through 7 cm of bed with a third of air (0.27
kg/m³ of it, diffusion 3.8e-6 m²/s, 14 MJ per kg of oxygen, all from memory) is 200; up to three times that
for what comes in at the sides and by convection (our judgement)."""

BREATHS: Final = (0.7, 0.35, 0.17)
"""Shares of that most at which oxygen just reaches all of the food, weighed against each other where it
matters: twice the 200 above for 7 cm that use it evenly; half and a quarter of that where food lies
deeper, or is wetter and so has less air (our judgement)."""

W_KG_D: Final = HEAT_MJ_KG_VS * 1e6 * SENSIBLE_SHARE / 86_400.0
"""Sensible heat of a kilogram of volatile solids that burns in a day."""

READY_PER_D: Final = 0.8
"""First-order rate at 20 °C of what need not fall apart first: sugars burn faster than pulp (our
judgement)."""


@dataclass(frozen=True, slots=True)
class Courses:
    """Ways in which food may decay: each a pace, the share that is ready to burn, a chance."""

    pace: Floats
    ready: Floats
    chance: Floats
    breath: Floats
    """Of the most heat that oxygen allows: from there on it does not reach all of the food."""


def _courses(breaths: tuple[float, ...]) -> Courses:
    """Return the grid of courses.

    The rates are typical; a bin's own may be about half or twice as fast. And without the ready half a
    bed that warms at once would seem to have a pulse many times as strong (our judgement).
    """
    grid = [
        (pace, ready, chance / 2.0 / len(breaths), breath)
        for breath in breaths
        for ready in (0.0, 0.5)
        for pace, chance in ((0.55, 0.25), (1.0, 0.5), (1.8, 0.25))
    ]
    return Courses(*np.array(grid).T)


USUAL: Final = Courses(*np.array([[1.0], [0.0], [1.0], [BREATHS[0]]]))
COURSES: Final = _courses(BREATHS[:1])
TIGHT: Final = _courses(BREATHS)
"""For food that may want more oxygen than it gets."""

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
        dry_g += portion.mass_g * (100.0 - moisture_pct_of(portion.ingredient)) / 100.0
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
        Heat of all feeds together, of whose shares (`BREATHS`) want of oxygen is reckoned, W.
    """
    speed = decay_rate_factor(np.clip(bed_c, 0.0, 60.0))[None]
    watts = _watts(pulses, speed, courses)
    limits_w = limit_w * courses.breath
    if (watts.sum(axis=1).max(axis=1) > limits_w).any():
        speed = speed * _breathed(pulses, speed[0], limits_w, courses)
        watts = _watts(pulses, speed, courses)
    return after_lag(_joined(watts / loss_w_k), lag_h, 0.0)


def _watts(pulses: Pulses, speed: Floats, courses: Courses) -> Floats:
    """Return the heat of each feed, courses by feeds by hours; *speed* is one row or one a course."""
    count = speed.shape[1]
    clock = np.zeros((len(speed), count + 1))
    np.cumsum(speed / 24.0, axis=1, out=clock[:, 1:])
    middle = ((clock[:, :-1] + clock[:, 1:]) / 2.0)[:, None]
    hours = np.arange(count + 1)
    began = np.array([np.interp(pulses.at_h, hours, one) for one in clock])[..., None]
    age = np.maximum(middle - began, 0.0)
    pace, ready = courses.pace[:, None, None], courses.ready[:, None, None]
    hydrolysis, decay, sugar = (
        rate * pace for rate in (HYDROLYSIS_PER_D, DECAY_PER_D, READY_PER_D)
    )
    pulp = hydrolysis / (hydrolysis - decay) * (np.exp(-decay * age) - np.exp(-hydrolysis * age))
    at_once = sugar * np.exp(-sugar * age) * (middle >= began)
    burnt = speed[:, None] * ((1.0 - ready) * decay * pulp + ready * at_once)
    result: Floats = pulses.volatile_kg[:, None] * burnt * W_KG_D
    return result


def _breathed(pulses: Pulses, speed: Floats, limits_w: Floats, courses: Courses) -> Floats:
    """Return what share of its speed want of oxygen leaves to decay, courses by hours.

    Where food wants more than comes, oxygen reaches less deep: as the root of supply over want, as in a
    slab that uses it evenly. What cannot burn is not lost: it burns later, so a limited pulse is lower and
    longer. Hour by hour where oxygen limits; what lies between is one step (`_unlimited`).
    """
    shares = np.ones((len(limits_w), len(speed)))
    at = np.minimum(pulses.at_h.astype(np.int64), len(speed) - 1)
    fed_kg = np.bincount(at, pulses.volatile_kg, len(speed))[:, None]
    fed = fed_kg * (1.0 - courses.ready), fed_kg * courses.ready
    days = courses.pace * speed[:, None] / 24.0
    pools: Pools = (np.zeros(len(limits_w)),) * 3
    hour = int(at.min())
    while hour < len(speed):
        rest = slice(hour, None)
        free_h, pools = _unlimited(pools, days[rest], (fed[0][rest], fed[1][rest]), limits_w)
        hour += free_h
        whole, pulp, sugar = pools
        began, limited = hour, True
        while limited and hour < len(speed):
            if fed_kg[hour]:
                whole, sugar = whole + fed[0][hour], sugar + fed[1][hour]
            day = days[hour]
            wanted_w = day * (DECAY_W * pulp + READY_W * sugar)
            shares[:, hour] = share = np.sqrt(limits_w / np.maximum(wanted_w, limits_w))
            burnt_d = day * share
            fallen = whole * (HYDROLYSIS_PER_D * burnt_d)
            pulp = pulp * (1.0 - DECAY_PER_D * burnt_d) + fallen
            whole, sugar = whole - fallen, sugar * (1.0 - READY_PER_D * burnt_d)
            limited = (hour - began) % CALM_H > 0 or bool(share.min() < 1.0)
            hour += 1
        pools = whole, pulp, sugar
    return shares


Pools = tuple[Floats, Floats, Floats]
"""What is whole, what has fallen apart, and sugar: kg in each course."""

DECAY_W: Final = DECAY_PER_D * W_KG_D * 24.0
READY_W: Final = READY_PER_D * W_KG_D * 24.0
"""Heat of a kilogram of pulp and of sugar, W, for a share of a day in an hour."""

CALM_H: Final = 8
"""So many hours one by one cost as much as a step over all that is left: so often it is tried."""


def _unlimited(
    pools: Pools, days: Floats, fed: tuple[Floats, Floats], limits_w: Floats
) -> tuple[int, Pools]:
    """Return how many hours no course wants more oxygen than there is, and the pools after them.

    The same balance as by the hour, solved for all hours at once: a pool is its growth, the product of what
    each hour leaves, times the sum of what came in over the growth until then.
    """
    keeps = [1.0 - rate * days for rate in (HYDROLYSIS_PER_D, DECAY_PER_D, READY_PER_D)]
    ends = [np.cumprod(one, axis=0) for one in keeps]
    begins = [end / keep for end, keep in zip(ends, keeps, strict=True)]
    whole = begins[0] * (pools[0] + np.cumsum(fed[0] / begins[0], axis=0))
    sugar = begins[2] * (pools[2] + np.cumsum(fed[1] / begins[2], axis=0))
    after = ends[1] * (pools[1] + np.cumsum(whole * (HYDROLYSIS_PER_D * days) / ends[1], axis=0))
    pulp = np.concatenate([pools[1][None], after[:-1]])
    wanted_w = days * (DECAY_W * pulp + READY_W * sugar)
    over = (wanted_w > limits_w).any(axis=1)
    count = int(over.argmax()) if over.any() else len(days)
    if not count:
        return 0, pools
    last = count - 1
    return count, (whole[last] * keeps[0][last], after[last], sugar[last] * keeps[2][last])


def _joined(each: Floats) -> Floats:
    """Return the newest feeds one by one, newest first, and all before them as one."""
    newest = each[:, ::-1][:, :APART_MOST]
    before = each[:, : max(0, each.shape[1] - APART_MOST)]
    if not before.shape[1]:
        return newest
    return np.concatenate([newest, before.sum(axis=1, keepdims=True)], axis=1)
