"""From what is believed and how well each value explains the data, to a value with its uncertainty."""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.science.numeric import Flags, Floats

CORRELATION_MOST: Final = 0.97
"""Residuals that keep more from hour to hour leave one observation in 66."""


def mean_and_sd(values: Floats, log_weight: Floats) -> tuple[float, float]:
    """Return mean and standard deviation of *values* under unnormalised log weights, n each.

    >>> mean, sd = mean_and_sd(np.array([1.0, 2.0, 3.0]), np.array([0.0, 1.0, 0.0]))
    >>> mean, round(sd, 3)
    (2.0, 0.651)
    """
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    mean = float(weight @ values)
    return mean, float(np.sqrt(max(0.0, weight @ (values - mean) ** 2)))


def worth(residuals: Floats, follows: Flags | None = None) -> float:
    """Return how many independent observations one residual is worth, 0..1.

    Residuals of the kind that weather leaves keep a share from hour to hour; n such are worth
    n (1 − ρ)/(1 + ρ). *follows* tells which residual comes an hour after the one before it.
    """
    if len(residuals) < 3:
        return 1.0
    first, second = residuals[:-1], residuals[1:]
    if follows is not None:
        first, second = first[follows[1:]], second[follows[1:]]
    power = float(np.sum(residuals**2)) / len(residuals) * max(len(first), 1)
    kept = float(first @ second) / power if power > 0.0 else 0.0
    kept = min(CORRELATION_MOST, max(0.0, kept))
    return (1.0 - kept) / (1.0 + kept)


def normal(values: Floats, mean: float, sd: float) -> Floats:
    """Return the log density of a normal distribution, without its constant."""
    result: Floats = -0.5 * ((values - mean) / sd) ** 2
    return result


def counted(count: int, what: str) -> str:
    """Return "1 look", "3 looks"."""
    return f"{count} {what}{'' if count == 1 else 's'}"
