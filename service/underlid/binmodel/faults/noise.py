"""Noise: a channel scatters many times more than it used to.

Scatter is taken from second differences of the means, so a steady rise is none; half of them must be
beyond what a quiet sensor shows, so single spikes are none either.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import SOILS, Span
from underlid.binmodel.faults.scene import Begin, Scene
from underlid.binmodel.faults.table import LOOKBACK_H
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.science.numeric import Floats

NOISY_SD: Final = {
    "bed_temp_c": 0.35,
    "headspace_temp_c": 0.35,
    "lid_temp_c": 0.35,
    "shed_temp_c": 0.35,
    "headspace_rh_pct": 2.5,
    "shed_rh_pct": 2.5,
}
"""Scatter of 5-minute means that no working sensor has: many times the 0.05 K and 0.5 % of common
kinds, and more than one of half-kelvin steps makes (our judgement)."""

NOISY_PCT: Final = 1.5
"""The same of moisture, % points."""

MEDIAN_TO_SD: Final = 0.6745 * 6.0**0.5
"""Median of |second difference| of white noise with standard deviation 1."""

GATE_H: Final = 3
SPAN_H: Final = 6
LEAST: Final = 12
PAST_H: Final = 24
QUIET_SHARE: Final = 0.1
"""At most so many of the past second differences may have been so large, over a day at least; a
channel that was always noisy is not at fault."""


def begins(scene: Scene, at: int) -> list[Begin]:
    """Return the channels that have become noisy at the end of an hour of index ≥ *at*."""
    table = scene.table
    sds = noisy_sds(scene)
    wide = table.high - table.low > 2.0 * sds[:, None]
    near = wide[:, max(0, at - GATE_H + 1) :]
    gate = near[:, 2:] & near[:, 1:-1] & near[:, :-2] if near.shape[1] >= GATE_H else near[:, :0]
    found = []
    for row in np.flatnonzero(gate.any(1)).tolist():
        found += _of_row(scene, row, float(sds[row]), at)
    return found


def ended(scene: Scene, row: int, at: int, span: Span) -> int | None:  # noqa: ARG001
    """Return the bucket from which the channel has been quiet for three hours."""
    table = scene.table
    if at < GATE_H - 1:
        return None
    last = slice(at - GATE_H + 1, at + 1)
    spread = (table.high - table.low)[row, last]
    if (table.known[row, last] < 2).any() or (spread > 2.0 * noisy_sds(scene)[row]).any():
        return None
    return table.bucket_of(at - GATE_H + 1)


def noisy_sds(scene: Scene) -> Floats:
    """Return for each row the scatter that is noise."""
    return np.array(
        [
            abs(NOISY_PCT / scene.pct_per_unit(row)) if channel in SOILS else NOISY_SD[channel]
            for row, (_, channel) in enumerate(scene.table.keys)
        ]
    )


def _of_row(scene: Scene, row: int, noisy_sd: float, at: int) -> list[Begin]:
    table = scene.table
    buckets, values = table.samples(row)
    if len(values) < LEAST:
        return []
    bend = np.abs(values[:-2] - 2.0 * values[1:-1] + values[2:])
    hour = buckets[2:] // BUCKETS_PER_HOUR
    total = np.cumsum(np.bincount(hour, minlength=table.hours))
    large = np.cumsum(np.bincount(hour, bend > MEDIAN_TO_SD * noisy_sd, table.hours))
    for now in range(max(at, SPAN_H), table.hours):
        before = now - SPAN_H
        count, many = total[now] - total[before], large[now] - large[before]
        if count < LEAST or many < 0.5 * count:
            continue
        past, first = max(0, before - SPAN_H), max(0, now - LOOKBACK_H)
        if np.count_nonzero(table.known[row, first:past]) < PAST_H:
            continue
        if large[past] - large[first] <= QUIET_SHARE * (total[past] - total[first]):
            start = before + 1
            while start < now and table.high[row, start] - table.low[row, start] <= noisy_sd:
                start += 1
            return [Begin(now, row, table.bucket_of(start))]
    return []
