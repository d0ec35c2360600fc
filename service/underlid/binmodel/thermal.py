"""The heat of a bin: its time constant by kind, and how much of its warmth it makes itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.binmodel.bins import Bin, BinKind
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR
from underlid.binmodel.window import BinWindow, mean_of
from underlid.science.heat import bed_heat_capacity_j_k, self_heat_k
from underlid.science.numeric import Floats

LOSS_W_K: Final = {
    BinKind.FLOW_THROUGH_BAG: 5.0,
    BinKind.TRAY_STACK: 4.5,
    BinKind.WOODEN_BOX: 3.0,
    BinKind.PLASTIC_TOTE: 4.5,
    BinKind.TROUGH: 6.0,
}
"""UA of a bin of some 60 L, W/K: 4.5 for plastic is the science page's; the others our judgement."""

LOSS_VOLUME_L: Final = 60.0
"""Loss grows with the surface, so with the volume to the power 2/3."""

LAG_LEAST_H: Final = 2.0
"""Hourly means follow no faster: of a bed that is quicker an hour shows all."""

SPAN_H: Final = 6
"""Self-heat is a mean of so many hours: with τ near 5 h an error of τ then hardly matters."""

SELF_HEAT_SD_K: Final = 0.8
"""Of that mean, from sensor offsets and from air that is not the same all round (our judgement)."""


@dataclass(frozen=True, slots=True)
class SelfHeat:
    """Self-heat in K, the bed without it in °C, and how fast the bed warms in K/h."""

    self_heat_k: float
    room_part_c: float
    rate_k_h: float


def time_constant_of(window: BinWindow) -> float:
    """Return τ of the bed, hours: learnt, else by kind and size."""
    if window.lessons is not None:
        return window.lessons.time_constant_h.value
    return time_constant_h(window.bin)


def lag_h_of(window: BinWindow) -> float:
    """Return the τ with which a course of hourly means is followed, hours."""
    return max(LAG_LEAST_H, time_constant_of(window))


def loss_w_k_of(window: BinWindow) -> float:
    """Return UA of the bin, W/K: by its τ, learnt or not, and what its bed holds.

    Source: τ = C/UA.
    """
    bin_ = window.bin
    capacity = bed_heat_capacity_j_k(bin_.bed_kg, bin_.target_moisture_pct)
    return capacity / (3600.0 * time_constant_of(window))


def time_constant_h(bin_: Bin) -> float:
    """Return τ = C/UA of a bin, hours, from its kind, mass and volume."""
    capacity = bed_heat_capacity_j_k(bin_.bed_kg, bin_.target_moisture_pct)
    loss: float = LOSS_W_K[bin_.kind] * (bin_.volume_l / LOSS_VOLUME_L) ** (2.0 / 3.0)
    return capacity / loss / 3600.0


def self_heat_series(window: BinWindow, count: int) -> Floats:
    """Return the self-heat, K, at each of the last *count* buckets, from the 6 h before it."""
    buckets = SPAN_H * BUCKETS_PER_HOUR
    half = buckets // 2
    bed = running_mean(window.means("bed_temp_c", count + buckets), half)
    air = running_mean(window.means("shed_temp_c", count + buckets), buckets)
    late, early = bed[-count:], bed[-count - half : -half]
    rate = (late - early) / (SPAN_H / 2.0)
    result: Floats = self_heat_k((early + late) / 2.0, rate, air[-count:], time_constant_of(window))
    return result


def running_mean(values: Floats, width: int) -> Floats:
    """Return the mean of what is known of each *width* values, oldest first; NaN below an hour."""
    known = ~np.isnan(values)
    sums = np.concatenate([[0.0], np.cumsum(np.where(known, values, 0.0))])
    counts = np.concatenate([[0], np.cumsum(known)])
    count = counts[width:] - counts[:-width]
    with np.errstate(invalid="ignore", divide="ignore"):
        result: Floats = np.where(
            count >= BUCKETS_PER_HOUR, (sums[width:] - sums[:-width]) / count, np.nan
        )
    return result


def self_heat(window: BinWindow) -> SelfHeat | None:
    """Return how much of the bed's warmth is its own; None without bed or shed temperatures."""
    buckets = SPAN_H * BUCKETS_PER_HOUR
    bed = window.means("bed_temp_c", buckets)
    air = window.means("shed_temp_c", buckets)
    half = buckets // 2
    early, late, around = _mean(bed[:half]), _mean(bed[half:]), _mean(air)
    if early is None or late is None or around is None:
        return None
    rate = (late - early) / (SPAN_H / 2.0)
    own = self_heat_k((early + late) / 2.0, rate, around, time_constant_of(window))
    now = window.present("bed_temp_c")
    return SelfHeat(own, (late if now is None else now) - max(0.0, own), rate)


def _mean(values: Floats) -> float | None:
    """Return the mean of some hours; None unless an hour's worth, or something of most hours, is known.

    A probe that sends every 15 minutes and loses one message has eleven values in three hours, one that
    sends every hour or so two.
    """
    found = mean_of(values, BUCKETS_PER_HOUR)
    if found is not None:
        return found
    hours = np.isfinite(values.reshape(-1, BUCKETS_PER_HOUR)).any(axis=1)
    return mean_of(values, 1) if hours.mean() > 0.5 else None
