"""What a soil probe said about when a sample of its bed was weighed: one raw value, kept for months.

A judge reads it from its window while the sample is young; after a restart the store is asked for those
same hours. Both give the same number: the median of the 5-minute means within half a day. No trust is in
it, as that is known for two weeks only; a median bears spikes and gaps. What is learnt from it:
`taught/old_samples.py`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.binmodel.probes.hot import BUCKET_MS, BUCKETS_PER_HOUR, HotProbe
from underlid.journal.entries import Entry
from underlid.journal.standing import STANDS_MS, is_weighed
from underlid.timeline import DAY_MS

AROUND_BUCKETS: Final = 12 * BUCKETS_PER_HOUR
"""So that the daily wiggle is out."""

KNOWN_LEAST_H: Final = 6

YOUNG_MS: Final = 12 * DAY_MS
"""So long a judge finds these hours in its window, whenever it was started."""

CHANNELS: Final = ("moisture_pct", "soil_index", "soil_raw")
"""Best first."""


@dataclass(frozen=True, slots=True)
class Read:
    """What a channel of a probe said, not calibrated."""

    probe: str
    channel: str
    raw: float


def read_at(name: str, probe: HotProbe, at_ms: int) -> Read | None:
    """Return what a probe said about *at_ms* by the best of its channels; None if it was silent."""
    bucket = at_ms // BUCKET_MS
    for channel in CHANNELS:
        raw = probe.means(channel, bucket - AROUND_BUCKETS, bucket + AROUND_BUCKETS)
        known = np.flatnonzero(~np.isnan(raw))
        if len(np.unique(known // BUCKETS_PER_HOUR)) >= KNOWN_LEAST_H:
            return Read(name, channel, float(np.median(raw[known])))
    return None


def span_ms(at_ms: int) -> tuple[int, int]:
    """Return from when until when a store is asked for what was said about *at_ms*."""
    middle_ms = at_ms // BUCKET_MS * BUCKET_MS
    return middle_ms - AROUND_BUCKETS * BUCKET_MS, middle_ms + AROUND_BUCKETS * BUCKET_MS


def weighed_before_ms(entries: Iterable[Entry], now_ms: int) -> set[int]:
    """Return when samples were weighed that still count and are not young any more."""
    return {
        entry.at_ms
        for entry in entries
        if now_ms - STANDS_MS <= entry.at_ms < now_ms - YOUNG_MS and is_weighed(entry)
    }
