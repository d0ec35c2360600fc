"""Random choices of a simulated bin, each from its own named source, so that adding one shifts none."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, log
from random import Random
from typing import TypeVar

Thing = TypeVar("Thing")


class Draw:
    """Draws by name: the same key and name always give the same value."""

    def __init__(self, key: str) -> None:
        self._key = key

    def source(self, name: str) -> Random:
        """Return random numbers of their own for *name*."""
        return Random(f"{self._key} {name}")

    def between(self, name: str, low: float, high: float) -> float:
        """Return a value from *low* to *high*, each as likely."""
        return self.source(name).uniform(low, high)

    def whole(self, name: str, low: int, high: int) -> int:
        """Return a whole number from *low* to *high*, both included."""
        return self.source(name).randint(low, high)

    def about(self, name: str, value: float, share: float) -> float:
        """Return *value* times a factor from 1/(1 + share) to 1 + share, even in its logarithm."""
        most = log(1.0 + share)
        return value * exp(self.source(name).uniform(-most, most))

    def spread(self, name: str, sd: float, most: float) -> float:
        """Return a normal deviate cut off at ± *most*."""
        return max(-most, min(most, self.source(name).gauss(0.0, sd)))

    def one_of(self, name: str, things: Sequence[Thing], weights: Sequence[float] = ()) -> Thing:
        """Return one of *things*."""
        return self.source(name).choices(things, weights or None)[0]

    def chance(self, name: str, share: float) -> bool:
        """Return True in *share* of the cases."""
        return self.source(name).random() < share
