"""What becomes of food that lies in a bed: the herd eats of it, and the rest rots away by itself."""

from __future__ import annotations

from math import erfc, exp, log, sqrt
from statistics import NormalDist
from typing import Final

import numpy as np

from underlid.science.numeric import Numeric

ROTTEN_DAYS: Final = 7.8
"""Days at 20 °C until a tenth is left of what falls apart by 1 and decays by 0.35 a day: solved from
the two pools of the science page, heat."""

ROTS_PER_D: Final = log(10.0) / ROTTEN_DAYS
"""So fast what nobody eats goes away, 1/d at 20 °C."""

LEAST_ROTTED: Final = 1e-6

USED_UP_DAYS: Final = 0.9 * ROTTEN_DAYS
USED_UP_SD: Final = 0.25
"""Days at 20 °C until a tenth of a feed is left, as likely as not, and the sd of their logarithm: worms
grind and air what they eat, which hastens it by a tenth, and rates of decay differ from food to food and
from bed to bed (our judgement)."""

_TIMES: Final = NormalDist(0.0, USED_UP_SD)
_LEAST: Final = 1e-300


def left_after(mass_g: Numeric, eaten_g: Numeric, rotted: float) -> Numeric:
    """Return what is left of food that was eaten and rotted at even paces for a while, g.

    Parameters
    ----------
    mass_g
        What there was.
    eaten_g
        What the herd could eat in that while.
    rotted
        Rate of rotting times the while, 0 and more.

    Source: dm/dt = −a − k m, solved.

    >>> [round(float(left_after(1000.0, 400.0, rotted))) for rotted in (0.0, 0.6)]
    [600, 248]
    """
    rest = exp(-rotted)
    share = (1.0 - rest) / rotted if rotted > LEAST_ROTTED else 1.0
    result: Numeric = np.maximum(0.0, mass_g * rest - eaten_g * share)
    return result


def used_up_chance(days: float, seen_left_days: float = 0.0) -> float:
    """Return how likely no more than a tenth of a feed is left.

    Parameters
    ----------
    days
        Since it went in, counted at 20 °C.
    seen_left_days
        When somebody last saw some of it, counted in the same way; 0 where nobody looked.

    Source: our judgement, a lognormal time, cut off where food was seen.

    >>> [round(used_up_chance(days), 2) for days in (5.0, 7.0, 10.0)]
    [0.09, 0.5, 0.92]
    >>> round(used_up_chance(8.0, 7.0), 2)
    0.4
    """
    if days <= seen_left_days:
        return 0.0
    return 1.0 - _share_left(days) / _share_left(seen_left_days)


def used_up_days(chance: float, seen_left_days: float = 0.0) -> float:
    """Return after how many days at 20 °C a feed is so likely used up: the inverse of the above.

    >>> [round(used_up_days(chance), 1) for chance in (0.1, 0.5, 0.9)]
    [5.1, 7.0, 9.7]
    """
    return USED_UP_DAYS * exp(-_TIMES.inv_cdf((1.0 - chance) * _share_left(seen_left_days)))


def _share_left(days: float) -> float:
    """Return the share of feeds that are not used up by then; never nothing, so that it can be divided by.

    By the far end of the distribution, where a probability near 1 would have no digits left.
    """
    if days <= 0.0:
        return 1.0
    return max(_LEAST, 0.5 * erfc(log(days / USED_UP_DAYS) / (USED_UP_SD * sqrt(2.0))))
