"""How the headspace of one bin follows its bed, and which thermometer is off when it no longer does.

Headspace − shed is a line over bed − shed, whatever feed and weather do. So it stands for a bed that is
not known. When the headspace leaves it, one of three thermometers is off, and long before it is known
which (`faults/drift.py` needs two days): until then each third of the guesses takes another one to be off.
Whose bed stays about as warm, over its shed, as it was, counts most. `cloud.py` asks.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp
from typing import Final

import numpy as np

from underlid.binmodel.faults.suspects import BED, HEAD, SHED, drifts_of
from underlid.binmodel.lids.guesses import GUESSES
from underlid.binmodel.lids.straight import Sums, expected, fitted, with_point
from underlid.science.numeric import Floats

SHARE_LEAST: Final = 0.2
SHARE_MOST: Final = 0.85
"""No headspace follows its bed so little, or so closely that it tells nothing of the shed (our
judgement)."""

SHARE: Final = 0.55
SHARE_SD: Final = 0.15
HEAD_OFF_SD_K: Final = 0.3
HEAD_VARIANCE_K2: Final = 0.18
"""Slope, offset (of sensors alone) and an hour's error with its likeness to the next (our judgement)."""

PRIOR: Final[Sums] = expected(SHARE, SHARE_SD, HEAD_OFF_SD_K)

KNOWN_H: Final = 24
"""After so many hours the line stands for a bed that is not known, and tells when it no longer holds."""

STRAIN_H: Final = 8.0
STRAIN_A_H: Final = 1.0 - exp(-1.0 / STRAIN_H)
STRAIN_K: Final = 0.25
"""What the headspace is off the line, over some hours. So little may be a lid left ajar or a feed that
warms the top; twice as much is a thermometer (our judgement; offsets of sensors are in the line)."""

STRAIN_MOST_K: Final = 5.0

DAY_A_H: Final = 1.0 / 24.0
USUAL_A_H: Final = 1.0 / 96.0
FORGETS: Final = 1.0 - 1.0 / 120.0
"""Means over a day, and over four, tell how warm a bed is and usually is. What spoke for a culprit fades
in five days when the strain is over."""

ODDS_LEAST: Final = 0.05

SIZE_SD_K: Final = 3.0
WARMS_SD_K: Final = 1.5
COOLS_SD_K: Final = 1.0
"""How far a thermometer drifts, and a bed warms or cools over its shed from one day to others: feeds warm
it, only weather cools it (our judgement)."""

CULPRITS: Final = np.arange(GUESSES) % 3
"""Which thermometer each guess then takes to be off."""


@dataclass(frozen=True, slots=True)
class HeadLine:
    """The line as sums of what was learnt, and the strain: how far the headspace has left it lately, K."""

    sums: Sums = PRIOR
    strain_k: float = 0.0
    day_strain_k: float = 0.0
    over_k: float = 0.0
    """Of the last day."""
    usual_k: float = 0.0
    odds: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """What speaks for each culprit, as logarithms of chances."""

    @property
    def is_known(self) -> bool:
        """Tell whether it has been learnt long enough to stand for a bed that is not known."""
        return self._hours() > KNOWN_H - 0.5

    @property
    def is_strained(self) -> bool:
        """Tell whether the headspace has left the line."""
        return abs(self.strain_k) > STRAIN_K

    def line(self) -> tuple[float, float, float, float]:
        """Return slope and offset of headspace over bed, and their sd."""
        return fitted(self.sums)

    def learn(self, over_k: float, head_over_k: float) -> HeadLine:
        """Return the line with one more hour; while it is strained, only the strain."""
        if not self.is_known:
            usual = self.usual_k + (over_k - self.usual_k) * self._learns(USUAL_A_H)
            return replace(self, sums=self._with(over_k, head_over_k), over_k=usual, usual_k=usual)
        share, offset, _, _ = self.line()
        left = min(max(head_over_k - offset - share * over_k, -STRAIN_MOST_K), STRAIN_MOST_K)
        strain = self.strain_k + (left - self.strain_k) * STRAIN_A_H
        day_strain = self.day_strain_k + (left - self.day_strain_k) * DAY_A_H
        over = self.over_k + (over_k - self.over_k) * DAY_A_H
        if abs(strain) > STRAIN_K:
            line = HeadLine(self.sums, strain, day_strain, over, self.usual_k)
            return replace(line, odds=line._odds())
        sums = self._with(over_k, head_over_k)
        usual = self.usual_k + (over_k - self.usual_k) * USUAL_A_H
        return HeadLine(sums, strain, day_strain, over, usual, _faded(self.odds))

    def _learns(self, slow: float) -> float:
        """Return what the next hour counts for: at first as much as each before."""
        return max(slow, 1.0 / (self._hours() + 1.0))

    def _hours(self) -> float:
        """Return how many hours have been learnt from."""
        return (self.sums[0] - PRIOR[0]) * HEAD_VARIANCE_K2

    def _with(self, over_k: float, head_over_k: float) -> Sums:
        return with_point(self.sums, over_k, head_over_k, HEAD_VARIANCE_K2)

    def _drifts(self, off_k: float) -> tuple[float, float, float]:
        """Return by how much bed, headspace or shed would be too high, if it alone were off."""
        return drifts_of(off_k, min(max(self.line()[0], SHARE_LEAST), SHARE_MOST))

    def _odds(self) -> tuple[float, float, float]:
        drifts = self._drifts(self.day_strain_k)
        truly = (-drifts[BED], 0.0, drifts[SHED])
        warms = [self.over_k + more - self.usual_k for more in truly]
        odds = [
            -0.5
            * ((drift / SIZE_SD_K) ** 2 + (warm / (WARMS_SD_K if warm > 0 else COOLS_SD_K)) ** 2)
            for drift, warm in zip(drifts, warms, strict=True)
        ]
        return odds[BED] - max(odds), odds[HEAD] - max(odds), odds[SHED] - max(odds)

    def doubting(
        self, shed_c: Floats, over_k: Floats, head_over_k: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Return shed, bed over it and headspace over it, as each guess has them under the strain.

        >>> line = HeadLine(strain_k=1.0)
        >>> over, head_over = np.full(GUESSES, 2.0), np.full(GUESSES, 2.1)
        >>> shed, over, head_over = line.doubting(np.array([20.0]), over, head_over)
        >>> [round(float(one), 2) for one in (over[0], head_over[1], shed[2])]
        [3.82, 1.1, 22.22]
        """
        size = abs(self.strain_k)
        if size <= STRAIN_K:
            return shed_c, over_k, head_over_k
        off = self.strain_k * min(1.0, size / STRAIN_K - 1.0)
        bed, head, shed = (
            np.where(which == CULPRITS, drift, 0.0) for which, drift in enumerate(self._drifts(off))
        )
        return shed_c - shed, over_k + shed - bed, head_over_k + shed - head

    def chances(self) -> Floats | None:
        """Return, for each guess, what speaks for its culprit, as a logarithm; None where nothing does."""
        return np.array(self.odds)[CULPRITS] if any(self.odds) else None


def _faded(odds: tuple[float, float, float]) -> tuple[float, float, float]:
    """Return what is left of odds an hour later; nothing where it is next to nothing."""
    if min(odds) > -ODDS_LEAST:
        return 0.0, 0.0, 0.0
    bed, head, shed = odds
    return bed * FORGETS, head * FORGETS, shed * FORGETS
