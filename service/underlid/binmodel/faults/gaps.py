"""Dropout: of a probe's readings many never come. Those that come are believed.

A probe that was told to send less often sends evenly; one whose radio or cell fails, does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import Span
from underlid.binmodel.faults.scene import Begin, Scene
from underlid.binmodel.faults.table import LOOKBACK_H
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR, COUNT_MOST
from underlid.science.numeric import Floats

LOST_SHARE: Final = 0.5
"""Told when fewer than half of the readings come (our judgement)."""

BACK_SHARE: Final = 0.75
SPAN_H: Final = 8
SLOW_SPAN_H: Final = 24
SLOW_BELOW: Final = 10.0
"""Below so many readings an hour it takes a day to tell loss from chance."""

PAST_H: Final = 24
LATE_MOST_MS: Final = 600_000
"""While readings come late, what is missing may still come."""

UNEVEN: Final = 1.6
"""By how many readings the count may run ahead of, or behind, an even one."""


def begins(scene: Scene, hours: Sequence[int]) -> list[Begin]:
    """Return the probes of which, at one of *hours*, too little has come."""
    found = []
    for probe, row, came in _probes(scene):
        vitals = scene.window.vitals.get(probe)
        if vitals is not None and vitals.late_ms > LATE_MOST_MS:
            continue
        most = float(came.max())
        for now in hours:
            if came[max(0, now - SPAN_H + 1) : now + 1].mean() < LOST_SHARE * most:
                begin = _lost(scene, row, came, now)
                if begin is not None:
                    found.append(begin)
    return found


def ended(scene: Scene, row: int, at: int, span: Span) -> int | None:
    """Return the bucket from which readings come again as they used to."""
    table = scene.table
    probe = table.keys[row][0]
    came = next(one for name, _, one in _probes(scene) if name == probe)
    width = 2 if span.anchor[0] >= SLOW_BELOW else 6
    if came[max(0, at - width + 1) : at + 1].sum() < BACK_SHARE * span.anchor[0] * width:
        return None
    return table.bucket_of(at)


def _lost(scene: Scene, row: int, came: Floats, now: int) -> Begin | None:
    """Return the loss that shows at the hour *now*, if the usual number of readings says so."""
    usual = _usual(came, now)
    span = SPAN_H if usual >= SLOW_BELOW else SLOW_SPAN_H
    recent = came[max(0, now - span + 1) : now + 1]
    if now < span + PAST_H or not 0.0 < recent.sum() < LOST_SHARE * usual * span:
        return None
    if not _uneven(scene, row, now, span) or not _few_everywhere(recent, usual):
        return None
    return Begin(now, row, scene.table.bucket_of(now - span + 1), (usual,))


def _probes(scene: Scene) -> list[tuple[str, int, Floats]]:
    """Return each probe with its first row and its readings per hour."""
    table = scene.table
    found: dict[str, int] = {}
    for row, (probe, _) in enumerate(table.keys):
        found.setdefault(probe, row)
    return [(probe, row, _per_hour(scene, row)) for probe, row in found.items()]


def _per_hour(scene: Scene, row: int) -> Floats:
    counts = scene.table.counts[row] & np.uint8(COUNT_MOST)
    result: Floats = counts.reshape(-1, BUCKETS_PER_HOUR).sum(1, dtype=np.float64)
    return result


def _usual(came: Floats, now: int) -> float:
    """Return how many readings an hour used to bring, half a day ago and earlier."""
    past = came[max(0, now - LOOKBACK_H) : max(0, now - 12)]
    past = past[past > 0.0]
    return float(np.median(past)) if len(past) >= PAST_H else 0.0


def _few_everywhere(recent: Floats, usual: float) -> bool:
    """Tell whether the loss is spread out, and is not one silence among hours that are whole."""
    blocks = recent.reshape(4, -1).mean(1)
    return bool((blocks < 0.75 * usual).all() and (blocks > 0.0).all())


def _uneven(scene: Scene, row: int, now: int, span: int) -> bool:
    table = scene.table
    start = table.bucket_of(now - span + 1) - table.first_bucket
    stop = start + span * BUCKETS_PER_HOUR
    counts = table.counts[row, start:stop] & np.uint8(COUNT_MOST)
    run = np.cumsum(counts, dtype=np.float64)
    even = run[-1] * np.arange(1, len(run) + 1) / len(run)
    ahead = run - even
    return bool(ahead.max() - ahead.min() > 2.0 * UNEVEN)
