"""Which of three temperatures drifts: bed, headspace or shed air, by what else would have to be true.

`drift` tells that they no longer go together. A drift δ of one changes three things: `off`, by which the
headspace leaves its relation to the others; self-heat; and the vapour of the headspace over that of the
bed, as kelvin. What is left of self-heat must then be the bed's own doing. Feeds warm a bed, nothing cools
it, but other weather changes what it does; and of a warmer bed the vapour lags, since the lid stays cold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.science.numeric import Floats
from underlid.science.psychrometrics import MAGNUS_A, MAGNUS_B_C

VAPOUR_PER_K: Final = 0.062
"""Saturated vapour rises by so much a kelvin, at 20 °C (Magnus)."""

LAGS: Final = 0.28
"""Kelvin of vapour that the headspace falls behind for each kelvin of self-heat (our judgement)."""

VAPOUR_SD_K: Final = 0.4
LAGS_SD: Final = 0.15
SIZE_SD: Final = 0.1
OWN_SD_K: Final = 0.5
OWN_SIZE_SD: Final = 0.25
WEATHER_SD: Final = 0.35
FED_WARMS_K: Final = 5.0
FED_COOLS_K: Final = 1.5
"""Standard deviations of what is expected: of vapour; of self-heat, for each kelvin by which the bed has
changed, and after much food, upwards and downwards (our judgement)."""

FITS: Final = 6.0
CLEARLY: Final = 4.0
"""Sum of squared deviations, in standard deviations, that still fits; and by how much every suspect of
another probe must fit worse (our judgement)."""

BED, HEAD, SHED = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Signs:
    """What has changed since the days before, all kelvin."""

    off: float
    own: float
    vapour: float
    """NaN where no humidity is known."""
    warmer: float
    """The bed."""
    share: float
    """Where the headspace lies between shed and bed."""
    fed: bool
    """Much food went in lately."""


def suspect(signs: Signs, probes: Sequence[str]) -> int | None:
    """Return which of bed, headspace and shed drifts; None when several probes may.

    Parameters
    ----------
    probes
        The probe of each of the three.

    >>> two = ("tansy-1", "tansy-1", "air1")
    >>> suspect(Signs(-1.3, 2.2, -1.9, 1.5, 0.67, False), two)
    0
    >>> suspect(Signs(1.0, 3.3, 0.0, 0.2, 0.69, False), two)
    2
    """
    misfits = [_misfit(signs, which) for which in (BED, HEAD, SHED)]
    best = int(np.argmin(misfits))
    if not misfits[best] <= FITS:
        return None
    others = [misfits[one] for one in (BED, HEAD, SHED) if probes[one] != probes[best]]
    return best if all(one >= misfits[best] + CLEARLY for one in others) else None


def drift_of(off: float, share: float, which: int) -> float:
    """Return by how much a channel would be off."""
    return {BED: -off / share, HEAD: off, SHED: -off / (1.0 - share)}[which]


def _misfit(signs: Signs, which: int) -> float:
    """Return how badly a drift of one channel explains everything, in squared standard deviations."""
    drift = drift_of(signs.off, signs.share, which)
    warms = signs.own - {BED: drift, HEAD: 0.0, SHED: -drift}[which]
    own_sd = OWN_SD_K + OWN_SIZE_SD * abs(drift)
    own_sd = float(np.hypot(own_sd, WEATHER_SD * abs(signs.warmer)))
    if signs.fed:
        own_sd = max(own_sd, FED_WARMS_K if warms > 0.0 else FED_COOLS_K)
    result = (warms / own_sd) ** 2
    if not np.isnan(signs.vapour):
        expected = {BED: -drift, HEAD: drift, SHED: 0.0}[which] - LAGS * warms
        sd = VAPOUR_SD_K + LAGS_SD * abs(warms) + SIZE_SD * abs(drift)
        result += ((signs.vapour - expected) / sd) ** 2
    return result


def vapour_k(bed_c: Floats, head_c: Floats, head_rh_pct: Floats) -> Floats:
    """Return the vapour of the headspace over that of a wet bed, as kelvin; 0 where they are the same."""
    humid = np.log(np.clip(head_rh_pct, 1.0, 99.0) / 100.0)
    a, b = MAGNUS_A, MAGNUS_B_C
    result: Floats = (humid + a * head_c / (b + head_c) - a * bed_c / (b + bed_c)) / VAPOUR_PER_K
    return result
