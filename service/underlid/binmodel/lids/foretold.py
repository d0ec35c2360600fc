"""How far the humidity that is read lies from what each guess foretells, and what that says of a guess.

`cloud.py` asks hour by hour. What is believed of a sensor elsewhere is in `humidity.py`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.lids.guesses import RH_OFF_PCT, RH_OFF_SD_PCT
from underlid.binmodel.lids.humidity import SATURATED_PCT
from underlid.science.numeric import Floats

FORETOLD_RH_SD_PCT: Final = 1.8
ALIKE_H: Final = 30.0
"""Error of a foretold hour, and how many hours are wrong alike: the guesses leave things out that last
for a day (our judgement)."""

OPEN_PCT: Final = 8.0
"""So far below what a closed bin shows, air comes in that no guess knows of: then the humidity itself is
taken, and the guess is not blamed for more."""

AT_END_H: Final = 72
"""A sensor at its end says that the air is no drier than what it shows there. But one that has not come
down for three days may be spent (our judgement)."""

VARIANCE: Final = FORETOLD_RH_SD_PCT**2 * ALIKE_H


def left_pct(rh_pct: float, foretold_pct: Floats) -> Floats:
    """Return by how much the air is moister than each guess foretells; below 0 where it is drier."""
    result: Floats = rh_pct - RH_OFF_PCT - np.minimum(100.0, foretold_pct)
    return result


def blame_pct(rh_pct: float, left: Floats) -> Floats:
    """Return what a guess is blamed for: at the sensor's end only for air that it takes to be drier.

    >>> blame_pct(98.0, left_pct(98.0, np.array([90.0, 95.0, 99.0]))).tolist()
    [6.0, 1.0, -3.0]
    >>> blame_pct(100.0, left_pct(100.0, np.array([90.0, 95.0, 99.0]))).tolist()
    [7.5, 2.5, 0.0]
    """
    least = -OPEN_PCT
    if rh_pct >= SATURATED_PCT:
        left, least = left - (rh_pct - SATURATED_PCT), 0.0
    result: Floats = np.minimum(np.maximum(left, least), OPEN_PCT)
    return result


def log_fit(hours: int, off: Floats, square: Floats) -> Floats:
    """Return how well each guess fits, as a logarithm; a lasting error of the sensor is reckoned with.

    Parameters
    ----------
    hours, off, square
        How many hours were compared, and the sums of the blame, %, and of its square.
    """
    lasting = off * off / (hours + VARIANCE / RH_OFF_SD_PCT**2)
    result: Floats = -0.5 * (square - lasting) / VARIANCE
    return result
