"""What is known of a lid hour by hour: temperatures, humidity, looks, bedding on top, the lid lifted."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.binmodel.hour_means import hour_means
from underlid.binmodel.probes.hot import BUCKET_MS, BUCKETS_PER_HOUR
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import (
    BeddingAdded,
    Feed,
    Harvest,
    LidLook,
    LiquidAdded,
    Sighting,
    Turned,
)

CHANNELS: Final = (
    "bed_temp_c", "headspace_temp_c", "headspace_rh_pct", "shed_temp_c", "shed_rh_pct", "lid_temp_c",
)  # fmt: skip

OPENS: Final = (Feed, BeddingAdded, LiquidAdded, Sighting, Turned, Harvest)
OPEN_H: Final = 0.07
"""A keeper who does something has the lid off for four minutes (our judgement)."""

UPSET_H: Final = 2
"""So long, with the hour itself, humidity says nothing after a deed."""


@dataclass(frozen=True, slots=True)
class LidHour:
    """One hour; NaN where unknown."""

    bed_c: float
    head_c: float
    rh_pct: float
    shed_c: float
    shed_rh_pct: float
    lid_c: float
    looks: tuple[LidLook, ...] = ()
    cover_kg_m2: float = 0.0
    """Bedding put on top in this hour."""
    open_h: float = 0.0
    """How long the lid was off."""
    upset: bool = False
    """It was off in this hour or shortly before."""


def lid_hours(window: BinWindow, first: int, count: int) -> list[LidHour]:
    """Return *count* hours from bucket *first* on."""
    until = first + count * BUCKETS_PER_HOUR
    means = [window.means(name, until - first, until) for name in CHANNELS]
    rows = hour_means(np.concatenate(means)).reshape(len(CHANNELS), count).T.tolist()
    looks: dict[int, list[LidLook]] = defaultdict(list)
    cover: dict[int, float] = defaultdict(float)
    deeds: dict[int, float] = defaultdict(float)
    for entry in window.entries:
        hour = (entry.at_ms // BUCKET_MS - first) // BUCKETS_PER_HOUR
        if not -UPSET_H <= hour < count or not isinstance(entry.what, OPENS):
            continue
        deeds[hour] += OPEN_H
        if isinstance(entry.what, Sighting) and entry.what.lid is not None:
            looks[hour].append(entry.what.lid)
        cover[hour] += _cover_kg(entry.what) / window.bin.lid_area_m2
    lifted = _lifted(window, first, count)
    return [
        LidHour(
            bed_c, head_c, rh_pct, shed_c, shed_rh_pct, lid_c,
            looks=tuple(looks.get(hour, ())),
            cover_kg_m2=cover.get(hour, 0.0),
            open_h=min(1.0, max(deeds.get(hour, 0.0), lifted[hour])),
            upset=lifted[hour] > 0.0 or any(hour - back in deeds for back in range(UPSET_H)),
        )
        for hour, (bed_c, head_c, rh_pct, shed_c, shed_rh_pct, lid_c) in enumerate(rows)
    ]  # fmt: skip


def looks_since(window: BinWindow, first: int) -> list[LidLook]:
    """Return how the lid looked from bucket *first* on, by time."""
    return [
        entry.what.lid
        for entry in window.entries
        if isinstance(entry.what, Sighting)
        and entry.what.lid is not None
        and first * BUCKET_MS <= entry.at_ms <= window.now_ms
    ]


def _cover_kg(what: object) -> float:
    if isinstance(what, Feed):
        return sum(one.mass_g for one in what.bedding) / 1000.0
    if isinstance(what, BeddingAdded):
        return sum(one.mass_g for one in what.portions) / 1000.0
    return 0.0


def _lifted(window: BinWindow, first: int, count: int) -> list[float]:
    """Return for each hour how long the probes say that the lid was off, hours."""
    off = np.zeros(count * BUCKETS_PER_HOUR)
    opened = window.trust.opened if window.trust is not None else ()
    for one in opened:
        begin = max(0, one.from_bucket - first)
        until = len(off) if one.until_bucket is None else one.until_bucket - first
        if until > begin:
            off[begin:until] = 1.0
    hours: list[float] = (off.reshape(-1, BUCKETS_PER_HOUR).sum(axis=1) / BUCKETS_PER_HOUR).tolist()
    return hours
