"""What a lid probe and the shed's differ by: told by how the lid follows the headspace.

A lid is as warm as the shed whenever its headspace is, whatever it is made of. So lid − shed lies on a
line over headspace − shed, and what the line is off there is the thermometers' doing. Two sensors' 0.3 K
are as much water in three days as the limit; after some days of warm and cool hours 0.1 K of it is left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from underlid.binmodel.bins import BinKind
from underlid.binmodel.lids.guesses import LID_FACTOR, LID_OFF_SD_K
from underlid.binmodel.lids.straight import Sums, expected, fitted, with_point

PAIR_OFF_SD_K: Final = LID_OFF_SD_K * 2.0**0.5
"""Of two thermometers of a kind."""

FACTOR_SD: Final = 0.3
"""Wide, so that a lid that somebody has insulated is believed before it is called a probe that is off."""

LID_VARIANCE_K2: Final = 0.18
"""An hour's error with its likeness to the next, as of the headspace's line (our judgement)."""


@dataclass(frozen=True, slots=True)
class LidLine:
    """The line as sums of what was learnt."""

    sums: Sums

    @classmethod
    def of(cls, kind: BinKind) -> LidLine:
        """Return the line of a lid of a kind that has not been measured yet."""
        return cls(expected(LID_FACTOR[kind][0], FACTOR_SD, PAIR_OFF_SD_K))

    def learn(self, head_over_k: float, lid_over_k: float) -> LidLine:
        """Return the line with one more hour."""
        return LidLine(with_point(self.sums, head_over_k, lid_over_k, LID_VARIANCE_K2))

    def factor_and_offset(self) -> tuple[float, float, float]:
        """Return the lid's temperature factor, by how much its probe is too high, K, and the sd of that.

        >>> line = LidLine.of(BinKind.PLASTIC_TOTE)
        >>> for hour in range(240):
        ...     line = line.learn(hour % 24 / 6.0, 0.3 + 0.7 * (hour % 24) / 6.0)
        >>> [round(one, 2) for one in line.factor_and_offset()]
        [0.7, 0.29, 0.05]
        """
        factor, offset, _, offset_sd = fitted(self.sums)
        return factor, offset, offset_sd
