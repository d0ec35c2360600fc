"""What the written feeds should have changed of a bed's self-heat, by their dry matter.

A bed that is warmer than its feeds can make it has another reason; `suspects.py` weighs that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.binmodel.outlook.feed_pulse import USUAL, Pulses, most_w, volatile_kg, warmth_k
from underlid.binmodel.thermal import lag_h_of, loss_w_k_of
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Feed
from underlid.science.numeric import Floats
from underlid.timeline import HOUR_MS

EARLIER_H: Final = 120
"""Feeds so long before the days that are looked at still warm them."""

COMMON_SD: Final = 0.4
OWN_SD: Final = 0.5
"""Of the change, what the bin's feeds share; of the larger warmth, what is each one's own, its pace
included (as in `outlook/bed_outlook.py`, our judgement)."""


@dataclass(frozen=True, slots=True)
class FedWarmth:
    """How much warmer feeds should make the bed than they did before, and how far that is known, K."""

    change_k: float = 0.0
    sd_k: float = 0.0


def fed_warmth(
    window: BinWindow, bed_c: Floats, end_ms: int, now: slice, before: slice
) -> FedWarmth:
    """Return the mean warmth of the hours *now* over that of the hours *before*.

    Parameters
    ----------
    bed_c
        Hourly, °C, NaN where unknown: decay follows it.
    end_ms
        When its last hour ends.
    now, before
        Parts of *bed_c*.
    """
    hours = EARLIER_H + len(bed_c)
    start_ms = end_ms - hours * HOUR_MS
    fed = [
        ((entry.at_ms - start_ms) / HOUR_MS, volatile_kg(entry.what))
        for entry in window.entries
        if isinstance(entry.what, Feed) and start_ms <= entry.at_ms < end_ms
    ]
    if not fed:
        return FedWarmth()
    course = np.full(hours, float(np.nanmean(bed_c)))
    course[EARLIER_H:] = np.where(np.isnan(bed_c), course[EARLIER_H:], bed_c)
    table = np.array(fed)
    pulses, limit_w = Pulses(table[:, 0], table[:, 1]), most_w(window.bin.lid_area_m2)
    each = warmth_k(pulses, course, lag_h_of(window), loss_w_k_of(window), limit_w, USUAL)[0]
    warmth = each.sum(axis=0)[EARLIER_H:]
    late, early = float(warmth[now].mean()), float(warmth[before].mean())
    change = late - early
    return FedWarmth(change, float(np.hypot(COMMON_SD * change, OWN_SD * max(late, early))))
