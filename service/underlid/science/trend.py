"""Trends that outliers do not fool: Theil–Sen slope with its band, Mann–Kendall, CUSUM."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.science.numeric import Floats

BAND_Z: Final = 1.2816
"""Normal quantile for the 80 % band that is shown to keepers (our judgement)."""


@dataclass(frozen=True, slots=True)
class Slope:
    """A robust line: slope per unit of x with its band, and the intercept at x = 0."""

    slope: float
    low: float
    high: float
    intercept: float


def theil_sen(x: Floats, y: Floats, band_z: float = BAND_Z) -> Slope:
    """Return the median of all pairwise slopes of n ≥ 2 points, with Sen's band.

    Parameters
    ----------
    x, y
        n values each, no NaN; x not all equal.
    band_z
        Normal quantile of the band, 1.2816 for 80 %.

    Source: [sen1968]; the intercept is the median of y − slope·x.

    >>> round(theil_sen(np.arange(10.0), np.array(
    ...     [20, 20.1, 20.3, 20.2, 20.6, 20.7, 20.5, 20.9, 21.0, 35.0])).slope, 5)
    0.13333
    """
    first, second = _pairs(len(x))
    run = x[second] - x[first]
    use = run != 0.0
    slopes = np.sort((y[second] - y[first])[use] / run[use])
    slope = _middle(slopes)
    spread = band_z * float(np.sqrt(_kendall_variance(y)))
    count = len(slopes)
    low = slopes[max(0, int(np.floor((count - spread) / 2.0)) - 1)]
    high = slopes[min(count - 1, int(np.ceil((count + spread) / 2.0)))]
    return Slope(slope, float(low), float(high), _middle(np.sort(y - slope * x)))


@lru_cache(maxsize=64)
def _pairs(count: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Return first and second of all pairs of so many points."""
    first, second = np.triu_indices(count, 1)
    return first, second


def _middle(ascending: Floats) -> float:
    """Return the median of n ≥ 1 values in order."""
    count = len(ascending)
    return (float(ascending[(count - 1) // 2]) + float(ascending[count // 2])) / 2.0


def _kendall_variance(y: Floats) -> float:
    """Return the variance of Kendall's S without trend, ties counted."""
    n = len(y)
    ties = Counter(y.tolist()).values()
    tied = float(sum(one * (one - 1) * (2 * one + 5) for one in ties if one > 1))
    return (n * (n - 1) * (2 * n + 5) - tied) / 18.0


def mann_kendall(y: Floats) -> tuple[int, float]:
    """Return Kendall's S and its normal score z for *y* in time order (n ≥ 2, no NaN).

    Source: [mann1945].

    >>> s, z = mann_kendall(np.array(
    ...     [20, 20.1, 20.3, 20.2, 20.6, 20.7, 20.5, 20.9, 21.0, 35.0]))
    >>> print(s, round(z, 4))
    39 3.3988
    """
    first, second = _pairs(len(y))
    s = int(np.sum(np.sign(y[second] - y[first])))
    variance = _kendall_variance(y)
    if s == 0 or variance <= 0.0:
        return s, 0.0
    return s, float((s - np.sign(s)) / np.sqrt(variance))


def cusum(x: Floats, mean: float, slack: float) -> tuple[Floats, Floats]:
    """Return the upper and lower cumulative sums of *x* around *mean*, with allowance *slack*.

    Source: tabular CUSUM, [montgomery-runger].

    >>> cusum(np.array([102.0, 94.8]), 99.0, 1.0)[1].tolist()
    [0.0, 3.2]
    """
    high, low = np.zeros(len(x)), np.zeros(len(x))
    up = down = 0.0
    for place, value in enumerate(x.tolist()):
        up = max(0.0, round(value - (mean + slack) + up, 9))
        down = max(0.0, round((mean - slack) - value + down, 9))
        high[place], low[place] = up, down
    return high, low
