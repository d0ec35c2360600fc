"""What a squeezed handful says of a bed's moisture: less than a weighed sample, and everybody can do it."""

from __future__ import annotations

from collections.abc import Sequence
from math import erf, sqrt
from typing import Final, NamedTuple

import numpy as np

from underlid.journal.entries import Squeeze
from underlid.science.numeric import Floats

FEELS: Final[dict[Squeeze, tuple[float, float]]] = {
    Squeeze.CRUMBLES: (-200.0, 64.0),
    Squeeze.DAMP: (64.0, 78.0),
    Squeeze.DROPS: (78.0, 86.0),
    Squeeze.TRICKLE: (86.0, 300.0),
}
"""Moisture, % wet basis, at which a pressed handful feels so (common practice; the figures are our
judgement)."""

BLUR_PCT: Final = 3.0
"""Hands, and what a bed is made of, shift these limits by so much (our judgement)."""

LAPSE: Final = 0.05
"""Share of wrong words (our judgement)."""

WORTH_MOST: Final = 2.0
"""The same hand in the same bed: however many handfuls are worth so many (our judgement)."""


class Handful(NamedTuple):
    """A word, and what the probes said about then, % wet basis."""

    hour: float
    word: Squeeze
    read_pct: float


def log_chance(shifts_pct: Floats, handfuls: Sequence[Handful]) -> Floats:
    """Return how well each shift of what the probes say explains the handfuls.

    >>> shifts = np.array([-8.0, 0.0, 8.0])
    >>> log_chance(shifts, [Handful(0.0, Squeeze.DAMP, 70.0)]).round(1).tolist()
    [-1.3, -0.1, -0.7]
    """
    total: Floats = np.zeros(len(shifts_pct))
    for one in handfuls:
        low, high = FEELS[one.word]
        moisture = (one.read_pct + shifts_pct).tolist()
        chance = [_below(high - pct) - _below(low - pct) for pct in moisture]
        total += np.log(LAPSE + (1.0 - 2.0 * LAPSE) * np.array(chance))
    return total * min(1.0, WORTH_MOST / max(1, len(handfuls)))


def _below(apart_pct: float) -> float:
    return 0.5 * (1.0 + erf(apart_pct / BLUR_PCT / sqrt(2.0)))
