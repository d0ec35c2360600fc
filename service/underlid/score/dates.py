"""Dates of drying out: what was foreseen five days before a bed was really too dry.

Two errors of each: of the date that was said; and of the date that would have been said by the same trend
from the bed's true level, which leaves the soil probe's calibration out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.journal.entries import BeddingAdded, Entry, Harvest, LiquidAdded
from underlid.score.events import joined
from underlid.score.watched import Moments, Watched
from underlid.timeline import DAY_MS, HOUR_MS

AHEAD_MS: Final = 5 * DAY_MS
NEAR_MS: Final = 3 * HOUR_MS
KNOWN_AFTER_MS: Final = 3 * DAY_MS

UNFORESEEN: Final = (LiquidAdded, BeddingAdded, Harvest)
"""What a keeper does between the asking and the date makes another date; feeding goes on as ever."""


@dataclass(frozen=True, slots=True)
class SaidDate:
    """What was said of drying at `at_ms`."""

    at_ms: int
    date_ms: int | None
    trend_pct_d: float | None


@dataclass(frozen=True, slots=True)
class Date:
    """Errors as a share of the remaining time, positive for too late; None where no date was said."""

    error: float | None
    of_drying: float | None
    """The same from the true level, by the trend alone."""


def dates(
    watched: Watched,
    at_ms: Moments,
    said: Sequence[SaidDate],
    entries: Sequence[Entry],
    rained_ms: Iterable[int],
) -> list[Date]:
    """Return the errors of each date at five days ahead; *rained_ms*: when water came in by itself."""
    poured_ms = [one.at_ms for one in entries if isinstance(one.what, UNFORESEEN)]
    changed_ms = np.array([*poured_ms, *rained_ms], dtype=np.int64)
    found = []
    for first, last in joined(watched.beyond >= 0.0, at_ms, watched.off_ms):
        true_ms = int(at_ms[first])
        asked_ms = true_ms - AHEAD_MS
        if int(at_ms[last]) - true_ms < DAY_MS or asked_ms < at_ms[0] + KNOWN_AFTER_MS:
            continue
        if ((changed_ms > asked_ms) & (changed_ms < true_ms)).any():
            continue
        above_pct = -float(watched.beyond[int(np.searchsorted(at_ms, asked_ms))])
        near = [one for one in said if abs(one.at_ms - asked_ms) <= NEAR_MS]
        found.append(_date([*near], asked_ms, above_pct))
    return found


def _date(near: Sequence[SaidDate], asked_ms: int, above_pct: float) -> Date:
    days = [(one.date_ms - asked_ms) / AHEAD_MS - 1.0 for one in near if one.date_ms is not None]
    trends = [one.trend_pct_d for one in near if one.trend_pct_d is not None]
    fall = -float(np.median(trends)) if trends else 0.0
    by_trend = above_pct / fall * DAY_MS / AHEAD_MS - 1.0 if fall > 0.0 else None
    return Date(float(np.median(days)) if days else None, by_trend)
