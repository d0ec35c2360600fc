"""Drift: a channel leaves, slowly, what the other channels of the bin explain.

Between bed, headspace and shed air one relation holds whatever feed and weather do:
headspace − shed = s · (bed − shed) + c, s and c as the days before had them. What is left of it over
a day is R. Of a channel that is off by δ it becomes δ (headspace), −s δ (bed) or −(1−s) δ (shed). Which
one it is, `suspects` tells.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import Span
from underlid.binmodel.faults.fed_warmth import FedWarmth, fed_warmth
from underlid.binmodel.faults.scene import Begin, Scene
from underlid.binmodel.faults.suspects import Signs, suspect, vapour_k
from underlid.binmodel.probes.hot import BUCKET_MS, BUCKETS_PER_HOUR
from underlid.binmodel.thermal import time_constant_of
from underlid.science.numeric import Flags, Floats

DAY_H: Final = 24
KNOWN_LEAST_H: Final = 18
NEAR_H: Final = 3 * DAY_H
FAR_H: Final = 8 * DAY_H
PAST_LEAST_H: Final = 36
"""s and c come from three to eight days before, from so many hours at the least."""

SHARE_PRIOR: Final = 0.6
SHARE_PRIOR_SD: Final = 0.2
SHARE_SD_LEAST: Final = 0.04
RELATION_SD_K: Final = 0.3
"""s without data, and how far it is off at the least with it; hourly scatter of the relation (our
judgement)."""

LEAST_K: Final = 0.4
"""A day's R that is smaller may be a lid left ajar, or cover bedding (our judgement)."""

BACK_SHARE: Final = 0.5
HELD_MOST_H: Final = 10 * DAY_H


@dataclass(frozen=True, slots=True)
class Relation:
    """Day means and the past's relation, at each hour of a table."""

    across: Floats
    """Bed − shed."""
    up: Floats
    """Headspace − shed."""
    own: Floats
    """Self-heat."""
    share: Floats
    share_sd: Floats
    rest: Floats
    own_before: Floats
    across_before: Floats
    warmer: Floats
    """Bed, less what it was before."""
    vapour: Floats
    """Vapour of the headspace over the bed's, less what it was before, kelvin; NaN where not known."""


def begins(scene: Scene, hours: Sequence[int]) -> list[Begin]:
    """Return the temperatures that, at one of *hours*, are off by what nothing else explains."""
    rows = _rows(scene)
    if rows is None or scene.table.hours <= NEAR_H + DAY_H:
        return []
    relation = relation_of(scene, rows)
    off = relation.up - relation.share * relation.across - relation.rest
    moved = relation.own - relation.own_before
    most = np.fmax(np.abs(moved), np.abs(relation.across - relation.across_before))
    off_sd = np.hypot(RELATION_SD_K, relation.share_sd * most)
    found = []
    for hour in hours:
        if not abs(off[hour]) > LEAST_K:
            continue
        share = float(np.clip(relation.share[hour], 0.05, 0.95))
        signs = Signs(
            float(off[hour]),
            float(off_sd[hour]),
            float(moved[hour]),
            float(relation.vapour[hour]),
            float(relation.warmer[hour]),
            share,
            _fed(scene, rows[0], hour),
        )
        found_out = suspect(signs, [scene.table.keys[row][0] for row in rows])
        if found_out is None:
            continue
        start = scene.table.bucket_of(hour + 1) - 2 * DAY_H * BUCKETS_PER_HOUR
        anchor = (share, float(relation.rest[hour]), float(off[hour]))
        found.append(Begin(hour, rows[found_out.which], start, anchor, corrects=found_out.alone))
    return found


def ended(scene: Scene, row: int, at: int, span: Span) -> int | None:  # noqa: ARG001
    """Return the bucket from which the relation holds again, by the last six hours."""
    rows = _rows(scene)
    table = scene.table
    held = table.bucket_of(at) - span.from_bucket
    if rows is None or held >= HELD_MOST_H * BUCKETS_PER_HOUR:
        return table.bucket_of(at)
    recent = slice(max(0, at - 5), at + 1)
    bed, head, shed = (table.mean[one, recent] for one in rows)
    share, rest, off = span.anchor
    now = np.abs(head - shed - share * (bed - shed) - rest)
    return back_from(scene, at, now, BACK_SHARE * abs(off))


def back_from(scene: Scene, at: int, off: Floats, near: float) -> int | None:
    """Return the bucket from which a channel is back, by how far off it was in the hours up to *at*.

    Most of them, and all since, must be *near*: a fault's own last hours are not believed with the rest,
    nor the one in which it ended.
    """
    known = ~np.isnan(off)
    if np.count_nonzero(known) < 4 or np.median(off[known]) > near:
        return None
    far = np.flatnonzero(known & (off > near))
    since = min(int(far[-1]) + 2, len(off)) if len(far) else 0
    return scene.table.bucket_of(at + 1 - len(off) + since)


def relation_of(scene: Scene, rows: tuple[int, int, int]) -> Relation:
    """Return day means, and the relation of three to eight days before, at each hour."""
    bed, head, shed = (scene.table.mean[row] for row in rows)
    across, up = bed - shed, head - shed
    known = ~np.isnan(across + up)
    tau = time_constant_of(scene.window)
    bed_day = day_mean(bed, ~np.isnan(bed))
    rate = np.full(len(bed), np.nan)
    rate[DAY_H:] = (bed_day[DAY_H:] - bed_day[:-DAY_H]) / DAY_H
    across_day = day_mean(across, known)
    own = across_day + tau * rate
    share, share_sd, rest, across_before = _past(across, up, known)
    own_known = ~np.isnan(own)
    own_before = _past_mean(np.where(own_known, own, 0.0), own_known)[0]
    return Relation(
        across_day, day_mean(up, known), own, share, share_sd, rest, own_before, across_before,
        _since(bed_day, bed), _vapour_since(scene, bed, head),
    )  # fmt: skip


def _vapour_since(scene: Scene, bed: Floats, head: Floats) -> Floats:
    row = scene.table.row("headspace_rh_pct")
    if row is None:
        return np.full(len(bed), np.nan)
    values = vapour_k(bed, head, scene.table.mean[row])
    return _since(day_mean(values, ~np.isnan(values)), values)


def _since(day: Floats, values: Floats) -> Floats:
    """Return day means less the mean of the days before."""
    known = ~np.isnan(values)
    return day - _past_mean(np.where(known, values, 0.0), known)[0]


def _fed(scene: Scene, row: int, hour: int) -> FedWarmth:
    """Return what feeds should have changed of the day's self-heat since the days before."""
    first = max(0, hour + 1 - FAR_H)
    days = hour + 1 - first
    return fed_warmth(
        scene.window,
        scene.table.mean[row, first : hour + 1],
        scene.table.bucket_of(hour + 1) * BUCKET_MS,
        slice(days - DAY_H, days),
        slice(0, days - NEAR_H),
    )


def day_mean(values: Floats, known: Flags) -> Floats:
    """Return the mean of the 24 hours up to each, NaN when too few are known."""
    sums = np.concatenate([[0.0], np.cumsum(np.where(known, values, 0.0))])
    counts = np.concatenate([[0], np.cumsum(known)])
    result = np.full(len(values), np.nan)
    count = counts[DAY_H:] - counts[:-DAY_H]
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = (sums[DAY_H:] - sums[:-DAY_H]) / count
    result[DAY_H - 1 :] = np.where(count >= KNOWN_LEAST_H, mean, np.nan)
    return result


def _past(across: Floats, up: Floats, known: Flags) -> tuple[Floats, Floats, Floats, Floats]:
    """Return s, its sd, c and the mean of bed − shed, three to eight days before each hour."""
    x, y = np.where(known, across, 0.0), np.where(known, up, 0.0)
    mean_x, count = _past_mean(x, known)
    mean_y, mean_xx, mean_xy = (_past_mean(one, known)[0] for one in (y, x * x, x * y))
    weight = RELATION_SD_K**2 / SHARE_PRIOR_SD**2
    spread = np.maximum(mean_xx - mean_x**2, 0.0) * count
    both = (mean_xy - mean_x * mean_y) * count
    share = (both + weight * SHARE_PRIOR) / (spread + weight)
    sd = np.maximum(SHARE_SD_LEAST, RELATION_SD_K / np.sqrt(spread + weight))
    return share, sd, mean_y - share * mean_x, mean_x


def _past_mean(values: Floats, known: Flags) -> tuple[Floats, Floats]:
    """Return mean and count of what is known three to eight days before each hour."""
    sums = np.concatenate([[0.0], np.cumsum(values)])
    counts = np.concatenate([[0.0], np.cumsum(known)])
    now = np.arange(1, len(values) + 1)
    begin, end = np.maximum(now - FAR_H, 0), np.maximum(now - NEAR_H, 0)
    count = counts[end] - counts[begin]
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(count >= PAST_LEAST_H, (sums[end] - sums[begin]) / count, np.nan)
    return mean, count


def _rows(scene: Scene) -> tuple[int, int, int] | None:
    """Return the rows of bed, headspace and shed air, when the bin has all three."""
    found = [scene.table.row(name) for name in ("bed_temp_c", "headspace_temp_c", "shed_temp_c")]
    if any(one is None for one in found):
        return None
    bed, head, shed = (one for one in found if one is not None)
    return bed, head, shed
