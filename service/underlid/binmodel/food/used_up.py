"""When a feed is used up, and how likely: by how fast it rots, or by how fast the herd eats.

Nobody knows beforehand which of the two sets the pace of a bin. Worms graze on what has begun to rot, so
a feed may last as long as rotting takes, whatever its size; or they eat their fill a day, so a small
feed goes sooner. Looks under the lid tell the two apart. What is left in grams is in `rotting.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import erfc, exp, log, sqrt
from typing import Final

from underlid.binmodel.food.rotting import ROTS_PER_D, ROTTEN_DAYS

GONE_SHARE: Final = 0.1
"""A feed with no more than this left is used up."""

ROT_DAYS: Final = 0.9 * ROTTEN_DAYS
ROT_SD: Final = 0.25
"""Days at 20 °C until a tenth of a feed is left where rotting sets the pace, as likely as not, and the sd
of their logarithm: worms grind and air what they eat, which hastens it by a tenth, and rates of decay
differ from food to food and from bed to bed (our judgement)."""

SOFT_DAYS: Final = 1.5
HERD_SD: Final = 0.4
"""Where the herd sets the pace: days until food is soft enough to be eaten, and the sd of the logarithm of
the whole time (our judgement)."""

HERD_SETS_PACE: Final = 0.4
"""How likely that is before anybody has looked (our judgement). Worms fed on moist, fine feed took 0.75 to
1.25 kg a kilogram and day (Ndegwa, Thompson and Das 2000), so a handful could go in two days; kitchen
scraps come in pieces and are often still seen after a week."""

WRONG_WORD: Final = 0.08
"""Share of looks that say the wrong thing (our judgement)."""

LEAST_FEED_G: Final = 20.0
"""A smaller feed is looked for as long as this one."""

MOST_ODDS: Final = 5.0
"""The logarithm of the odds that looks can bring: a bin may change its ways (our judgement)."""

STEP: Final = 0.05
HALVINGS: Final = 16
REMEMBERED: Final = 2048
"""Dates are asked for on steps of this many days (and a fifth of it in chance), so that a bin asks for the
same one from look to look; so many are kept, about half a megabyte."""

_LEAST: Final = 1e-300


@dataclass(frozen=True, slots=True)
class Pace:
    """How one feed goes: how likely the herd sets the pace, and the days it takes then at 20 °C."""

    herd_chance: float
    herd_days: float

    def chance(self, days: float, seen_left_days: float = 0.0) -> float:
        """Return how likely no more than a tenth of the feed is left.

        Parameters
        ----------
        days
            Since it went in, counted at 20 °C.
        seen_left_days
            When somebody last saw some of it, counted in the same way; 0 where nobody looked.

        Source: our judgement, two lognormal times, cut off where food was seen.

        >>> by_rot, by_both = Pace(0.0, 3.0), Pace(0.4, 3.0)
        >>> [round(by_rot.chance(days), 2) for days in (5.0, 7.0, 10.0)]
        [0.09, 0.5, 0.92]
        >>> [round(by_both.chance(days), 2) for days in (3.0, 5.0, 7.0)]
        [0.2, 0.41, 0.69]
        >>> round(by_rot.chance(8.0, 7.0), 2)
        0.4
        """
        if days <= seen_left_days:
            return 0.0
        rot = 1.0 - _left(days, ROT_DAYS, ROT_SD) / _left(seen_left_days, ROT_DAYS, ROT_SD)
        if self.herd_chance <= 0.0:
            return rot
        before = _left(seen_left_days, self.herd_days, HERD_SD)
        herd = 1.0 - _left(days, self.herd_days, HERD_SD) / before
        return rot + self.herd_chance * (herd - rot)

    def days(self, chance: float, seen_left_days: float = 0.0) -> float:
        """Return after how many days at 20 °C the feed is so likely used up: the inverse of the above.

        >>> [round(Pace(0.0, 3.0).days(chance), 1) for chance in (0.1, 0.5, 0.9)]
        [5.1, 7.0, 9.7]
        >>> [round(Pace(0.4, 3.0).days(chance), 1) for chance in (0.1, 0.5, 0.9)]
        [2.3, 5.7, 9.0]
        """
        return _days(
            round(self.herd_chance / STEP * 5.0),
            round(self.herd_days / STEP),
            round(seen_left_days / STEP),
            chance,
        )


def herd_days(mass_g: float, eaten_g_d: float) -> float:
    """Return after how many days a tenth is left where the herd sets the pace, at its own best.

    Never later than by rotting alone.

    Parameters
    ----------
    mass_g
        The feed with what was left of those before it.
    eaten_g_d
        The herd's appetite, above 0.

    Source: dm/dt = −a − k m, solved, after the days that food takes to soften.

    >>> [round(herd_days(mass_g, 250.0), 1) for mass_g in (100.0, 500.0, 1500.0, 9000.0)]
    [1.8, 2.9, 4.4, 7.0]
    """
    ratio = eaten_g_d / (ROTS_PER_D * max(mass_g, LEAST_FEED_G))
    return min(ROT_DAYS, SOFT_DAYS + log((1.0 + ratio) / (GONE_SHARE + ratio)) / ROTS_PER_D)


def odds_of_look(days: float, days_by_herd: float, *, used_up: bool) -> float:
    """Return by how much a look moves the logarithm of the odds that the herd sets the pace.

    >>> round(odds_of_look(4.0, 2.5, used_up=True), 1), round(odds_of_look(4.0, 2.5, used_up=False), 1)
    (2.2, -1.6)
    """
    rot = 1.0 - _left(days, ROT_DAYS, ROT_SD)
    herd = 1.0 - _left(days, days_by_herd, HERD_SD)
    if not used_up:
        rot, herd = 1.0 - rot, 1.0 - herd
    right = 1.0 - 2.0 * WRONG_WORD
    return log((WRONG_WORD + right * herd) / (WRONG_WORD + right * rot))


def herd_chance(odds: float, before: float = HERD_SETS_PACE) -> float:
    """Return how likely the herd sets the pace, by what looks have moved the odds.

    *before* is how likely it was before any look, above 0 and below 1.

    >>> [round(herd_chance(odds), 2) for odds in (-2.0, 0.0, 2.0)]
    [0.08, 0.4, 0.83]
    """
    seen = min(MOST_ODDS, max(-MOST_ODDS, odds))
    return 1.0 / (1.0 + (1.0 - before) / before * exp(-seen))


@lru_cache(maxsize=REMEMBERED)
def _days(herd_steps: int, herd_days_steps: int, seen_steps: int, chance: float) -> float:
    pace = Pace(min(1.0, herd_steps * STEP / 5.0), herd_days_steps * STEP)
    seen_days = seen_steps * STEP
    low, high = log(max(seen_days, STEP)), log(max(seen_days, STEP)) + 6.0
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if pace.chance(exp(middle), seen_days) < chance:
            low = middle
        else:
            high = middle
    return exp(0.5 * (low + high))


def _left(days: float, median_days: float, sd: float) -> float:
    """Return the share of feeds that are not used up by then; never nothing, so that it can be divided by.

    By the far end of the distribution, where a probability near 1 would have no digits left.
    """
    if days <= 0.0:
        return 1.0
    return max(_LEAST, 0.5 * erfc(log(days / median_days) / (sd * sqrt(2.0))))
