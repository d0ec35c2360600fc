"""The headspace humidity that is believed where the sensor is at its end, or at fault."""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.probes.hot import BUCKETS_PER_DAY
from underlid.binmodel.window import BinWindow
from underlid.science.numeric import Floats

RH_BELIEVED_MOST_PCT: Final = 99.0
"""Common sensors read up to 3 % high after days above 80 % (sensor data sheet), so the last percent to
saturation says nothing; half of it is taken."""

SATURATED_PCT: Final = 99.5
SATURATED_BUCKETS: Final = BUCKETS_PER_DAY
"""From here on a sensor only says that it is at its end; one that does so for a whole day says nothing more
(science page, probes)."""

ASSUMED_RH_PCT: Final = 98.5
"""Taken instead: air between a wet bed and a wet lid is in the middle of what is saturated at either,
which are a kelvin or two apart (our judgement)."""


def humidities(window: BinWindow, count: int) -> tuple[Floats, bool]:
    """Return the believed headspace humidity of the last *count* buckets, %.

    Where the sensor has been saturated for a day the assumed humidity stands; the second value
    tells whether that is so for the last bucket.
    """
    rh = window.means("headspace_rh_pct", count + SATURATED_BUCKETS)
    instead = _instead_of_faulty(window, rh)
    unknown = np.isnan(rh)
    if float(np.fmax.reduce(rh)) < SATURATED_PCT:
        return np.where(unknown, instead, rh)[SATURATED_BUCKETS:], bool(~np.isnan(instead[-1]))
    informative = np.cumsum(~unknown & (rh < SATURATED_PCT))
    known = np.cumsum(~unknown)
    spent = (informative[SATURATED_BUCKETS:] == informative[:-SATURATED_BUCKETS]) & (
        known[SATURATED_BUCKETS:] - known[:-SATURATED_BUCKETS] >= SATURATED_BUCKETS // 2
    )
    recent = np.minimum(rh[SATURATED_BUCKETS:], RH_BELIEVED_MOST_PCT)
    believed = np.where(spent & ~np.isnan(recent), ASSUMED_RH_PCT, recent)
    believed = np.where(np.isnan(believed), instead[SATURATED_BUCKETS:], believed)
    return believed, bool(spent[-1] or ~np.isnan(instead[-1]))


def _instead_of_faulty(window: BinWindow, rh: Floats) -> Floats:
    """Return what is taken where the humidity sensor is at fault: what it said the day before.

    At most the assumed humidity; NaN where the sensor is not at fault.
    """
    instead = np.full(len(rh), np.nan)
    spans = window.trust.spans("headspace_rh_pct") if window.trust is not None else []
    start = window.end - len(rh)
    for begin, until in spans:
        stop = len(rh) if until is None else until - start
        if stop <= 0:
            continue
        before = window.means("headspace_rh_pct", BUCKETS_PER_DAY, begin)
        before = np.minimum(before[~np.isnan(before)], ASSUMED_RH_PCT)
        if len(before):
            instead[max(0, begin - start) : stop] = before.mean()
    return instead
