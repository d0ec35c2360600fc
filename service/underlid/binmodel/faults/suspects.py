"""Which of three temperatures drifts: bed, headspace or shed air, by what else would have to be true.

`drift` tells that they no longer go together. A drift δ of one changes three things: `off`, by which the
headspace leaves its relation to the others; self-heat; and the vapour of the headspace over that of the
bed, as kelvin. What is left of self-heat must then be the bed's own doing: what its feeds make of it
(`fed_warmth.py`), and other weather; and of a warmer bed the vapour lags, since the lid stays cold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np

from underlid.binmodel.faults.fed_warmth import FedWarmth
from underlid.binmodel.lids.humidity import RH_BELIEVED_MOST_PCT
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
WEATHER_SD: Final = 0.12
"""Standard deviations of what is expected: of vapour; of self-heat, and for each kelvin by which the bed
has changed (our judgement)."""

FITS: Final = 6.0
CLEARLY: Final = 4.0
"""Sum of squared deviations, in standard deviations, that still fits; and by how much every suspect of
another probe must fit worse (our judgement)."""

OFF_SDS: Final = 2.0
PLAINLY: Final = 9.0
"""Something is off when the headspace has left its relation by so many standard deviations; or, together
with self-heat and vapour, when health fits worse than a drift by so much (our judgement)."""

UNWRITTEN_SD_K: Final = 3.0
UNWRITTEN_RARE: Final = 6.0
"""By so much a feed that nobody wrote down may warm a bed; that one went in just when a thermometer
drifts is one chance in twenty (our judgement)."""

BED, HEAD, SHED = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Signs:
    """What has changed since the days before, all kelvin."""

    off: float
    off_sd: float
    """How far the headspace may be off with thermometers in good health."""
    own: float
    vapour: float
    """NaN where no humidity is known."""
    warmer: float
    """The bed."""
    share: float
    """Where the headspace lies between shed and bed."""
    fed: FedWarmth
    """What the feeds should have changed."""


class Suspect(NamedTuple):
    """Which of bed, headspace and shed drifts."""

    which: int
    alone: bool
    """No other thermometer fits, not even one of the same probe."""


def suspect(signs: Signs, probes: Sequence[str]) -> Suspect | None:
    """Return what drifts; None when several probes may, or nothing need be at fault.

    Parameters
    ----------
    probes
        The probe of each of the three.

    >>> two = ("tansy-1", "tansy-1", "air1")
    >>> suspect(Signs(-1.3, 0.3, 2.2, -1.9, 1.5, 0.67, FedWarmth()), two)
    Suspect(which=0, alone=True)
    >>> suspect(Signs(1.0, 0.3, 3.3, 0.0, 0.2, 0.69, FedWarmth()), two)
    Suspect(which=2, alone=True)
    """
    misfits = [_misfit(signs, which) for which in (BED, HEAD, SHED)]
    best = int(np.argmin(misfits))
    least = misfits[best]
    if not least <= FITS:
        return None
    if abs(signs.off) <= OFF_SDS * signs.off_sd and _healthy(signs) < least + PLAINLY:
        return None
    others = [misfits[one] for one in (BED, HEAD, SHED) if one != best]
    abroad = [misfits[one] for one in (BED, HEAD, SHED) if probes[one] != probes[best]]
    if not all(one >= least + CLEARLY for one in abroad):
        return None
    return Suspect(best, min(others) >= least + CLEARLY)


def drifts_of(off_k: float, share: float) -> tuple[float, float, float]:
    """Return by how much bed, headspace or shed is too high, if it alone put the headspace off its line.

    >>> drifts_of(1.0, 0.5)
    (-2.0, 1.0, -2.0)
    """
    return -off_k / share, off_k, -off_k / (1.0 - share)


def _misfit(signs: Signs, which: int) -> float:
    """Return how badly a drift of one channel explains everything, in squared standard deviations."""
    drift = drifts_of(signs.off, signs.share)[which]
    warms = signs.own - {BED: drift, HEAD: 0.0, SHED: -drift}[which]
    return _apart(signs, warms, {BED: -drift, HEAD: drift, SHED: 0.0}[which], abs(drift))


def _healthy(signs: Signs) -> float:
    """Return how badly it fits that no thermometer drifts; a feed may have gone in unwritten."""
    unwritten_sd = UNWRITTEN_SD_K if signs.own > signs.fed.change_k else 0.0
    fed = FedWarmth(signs.fed.change_k, float(np.hypot(signs.fed.sd_k, unwritten_sd)))
    apart = _apart(replace(signs, fed=fed), signs.own, 0.0, 0.0)
    return float((signs.off / signs.off_sd) ** 2) + apart


def _apart(signs: Signs, warms: float, vapour: float, drift: float) -> float:
    """Return how far self-heat and vapour are from what is expected, in squared standard deviations.

    Parameters
    ----------
    warms
        What the bed then has done.
    vapour
        What a drift then makes of the vapour, without the bed's doing.
    drift
        Its size.
    """
    own_sd = float(
        np.sqrt(
            (OWN_SD_K + OWN_SIZE_SD * drift) ** 2
            + (WEATHER_SD * signs.warmer) ** 2
            + signs.fed.sd_k**2
        )
    )
    more = warms - signs.fed.change_k
    result = (more / own_sd) ** 2
    if more > 0.0:
        result = min(result, UNWRITTEN_RARE + (more / UNWRITTEN_SD_K) ** 2)
    if not np.isnan(signs.vapour):
        sd = VAPOUR_SD_K + LAGS_SD * abs(warms) + SIZE_SD * drift
        result += ((signs.vapour - vapour + LAGS * warms) / sd) ** 2
    return result


def vapour_k(bed_c: Floats, head_c: Floats, head_rh_pct: Floats) -> Floats:
    """Return the vapour of the headspace over that of a wet bed, as kelvin; 0 where they are the same."""
    humid = np.log(np.clip(head_rh_pct, 1.0, RH_BELIEVED_MOST_PCT) / 100.0)
    a, b = MAGNUS_A, MAGNUS_B_C
    result: Floats = (humid + a * head_c / (b + head_c) - a * bed_c / (b + bed_c)) / VAPOUR_PER_K
    return result
