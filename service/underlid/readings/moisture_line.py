"""From soil index to moisture by weighed samples: a line, a little bent, with its uncertainty.

What such probes usually read is the prior, each weighed sample moves it, so that none, one or many
samples are one case. Which probe has which samples is in `binmodel`; a day's drift is not here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import hypot, sqrt
from typing import Final

import numpy as np

from underlid.readings.calibration import Line
from underlid.science.numeric import Numeric

CENTRE_INDEX: Final = 0.55
LEVEL_PCT: Final = 72.6
LEVEL_SD_PCT: Final = 7.75
GAIN_PCT: Final = 72.0
GAIN_SD_PCT: Final = 18.0
"""Moisture at the centre and its rise with the index, with sds, when nobody has weighed a sample:
0.4 → 62 %, 0.65 → 80 %; capacitive probes in bedding differ by ±8 % points (our judgement)."""

BEND_PCT: Final = 30.0
"""Moisture lies so far below a straight line, % points, one index from the centre: 0.7 at 0.40 and 0.70.
What a probe feels is the water in a litre of bed, θ = ρ M/(1 − M), with which M rises ever less: by some 87
for a probe that answers evenly to θ. Real ones flatten too when it is wet, so less (our judgement)."""

SAMPLE_SD_PCT: Final = 1.5
"""A handful against what lies around the probe, 1 or so, and its weighing and drying at home, 1 or so (our
judgement)."""

PLACE_SD_PCT: Final = 2.0
"""The place where the probe sits against the bed, and a curve against a line (our judgement)."""

GAIN_LEAST_PCT: Final = 10.0
"""A line flatter than this is none: a wetter bed cannot read drier, so the samples contradict each
other (our judgement)."""

SAMPLES_CACHED: Final = 4096


@dataclass(frozen=True, slots=True)
class Bent:
    """moisture = (bend · raw + gain) · raw + offset, % wet basis; not clipped."""

    bend: float
    gain: float
    offset: float

    def apply(self, raw: Numeric) -> Numeric:
        """Return the moisture of *raw*."""
        result: Numeric = (self.bend * raw + self.gain) * raw + self.offset
        return result

    def after(self, line: Line) -> Bent:
        """Return this for what *line* makes the raw value of.

        >>> round(Bent(-30.0, 105.0, 23.925).after(Line(0.5, 0.1)).apply(0.8), 3)  # at 0.5
        68.925
        """
        gain = line.gain * (self.gain + 2.0 * self.bend * line.offset)
        return Bent(self.bend * line.gain**2, gain, self.apply(line.offset))


@dataclass(frozen=True, slots=True)
class MoistureFit:
    """moisture = level + gain · away − bend · away², % wet basis, away = index − centre; with variances."""

    level_pct: float
    gain_pct: float
    level_variance: float
    gain_variance: float
    covariance: float

    @property
    def curve(self) -> Bent:
        """Return the way from soil index to moisture, % wet basis."""
        at_zero_pct = self.level_pct - (self.gain_pct + BEND_PCT * CENTRE_INDEX) * CENTRE_INDEX
        return Bent(-BEND_PCT, self.gain_pct + 2.0 * BEND_PCT * CENTRE_INDEX, at_zero_pct)

    def index(self, moisture_pct: float) -> float:
        """Return the soil index at which the probe says *moisture_pct*; the top of the bend beyond it."""
        root = self.gain_pct**2 - 4.0 * BEND_PCT * (moisture_pct - self.level_pct)
        return CENTRE_INDEX + (self.gain_pct - sqrt(max(0.0, root))) / (2.0 * BEND_PCT)

    def line_sd_pct(self, moisture_pct: float) -> float:
        """Return the sd of the line where it says *moisture_pct*."""
        away = (moisture_pct - self.level_pct) / self.gain_pct
        variance = self.level_variance + 2.0 * away * self.covariance + away**2 * self.gain_variance
        return sqrt(max(0.0, variance))

    def sd_pct(self, moisture_pct: float) -> float:
        """Return how sure the bed's moisture is where the probe says *moisture_pct*."""
        return hypot(self.line_sd_pct(moisture_pct), PLACE_SD_PCT)


def moisture_fit(points: Sequence[tuple[float, float]]) -> MoistureFit | None:
    """Return the line that weighed samples make of the usual one; None if they contradict.

    Parameters
    ----------
    points
        (soil index, moisture by weighed sample in % wet basis), none or more.

    Source: Bayesian linear regression with known noise, common statistics.

    >>> fit = moisture_fit([(0.40, 62.0), (0.62, 78.0)])
    >>> round(fit.curve.apply(0.5), 1), round(fit.sd_pct(69.0), 1), round(fit.sd_pct(90.0), 1)
    (69.6, 2.3, 3.3)
    >>> round(moisture_fit([]).sd_pct(72.6), 1)
    8.0
    """
    return _fit(tuple(points))


@lru_cache(maxsize=SAMPLES_CACHED)
def _fit(points: tuple[tuple[float, float], ...]) -> MoistureFit | None:
    precision = np.diag([1.0 / LEVEL_SD_PCT**2, 1.0 / GAIN_SD_PCT**2])
    believed = precision @ np.array([LEVEL_PCT, GAIN_PCT])
    for index, moisture_pct in points:
        column = np.array([1.0, index - CENTRE_INDEX])
        precision = precision + np.outer(column, column) / SAMPLE_SD_PCT**2
        straight_pct = moisture_pct + BEND_PCT * column[1] ** 2
        believed = believed + column * straight_pct / SAMPLE_SD_PCT**2
    covariance = np.linalg.inv(precision)
    level, gain = (covariance @ believed).tolist()
    if gain < GAIN_LEAST_PCT:
        return None
    return MoistureFit(
        level, gain, float(covariance[0, 0]), float(covariance[1, 1]), float(covariance[0, 1])
    )
