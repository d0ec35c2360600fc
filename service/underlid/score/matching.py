"""Alerts against events: which event was found by which alert, and which alert was right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from underlid.journal.entries import (
    BeddingAdded,
    Entry,
    Feed,
    Harvest,
    LiquidAdded,
    Moved,
    Sighting,
    Turned,
)
from underlid.rules.finding import Advice, Condition
from underlid.score.events import Event
from underlid.score.watched import Moments, Watched
from underlid.timeline import HOUR_MS

EARLY_MS: Final = 72 * HOUR_MS
EARLY_REPORT_MS: Final = 12 * HOUR_MS
"""A report that comes so early, and is still open when it comes true, was an estimate a little high."""

LATE_FORECAST_MS: Final = 6 * HOUR_MS

RIGHT: Final = "right"
FALSE: Final = "false"
LEFT_OUT: Final = "left out"
LATE: Final = "it came late, after"
"""Of a forecast that came true later than it said, while its alert was still open."""

OVERTAKES: Final[dict[Condition, tuple[type, ...]]] = {
    Condition.CONDENSATION: (BeddingAdded, Feed, Harvest, Moved, Sighting),
    Condition.OVERHEATING: (Moved, LiquidAdded, Turned),
    Condition.TOO_COLD: (Moved,),
    Condition.DRYING_OUT: (LiquidAdded, Feed, Harvest),
    Condition.TOO_WET: (BeddingAdded, Harvest),
    Condition.HUNGRY: (Feed,),
    Condition.SOUR: (BeddingAdded, Harvest, Turned),
}
"""Deeds that take the cause of a forecast away."""


@dataclass(slots=True)
class Raised:
    """One alert from its raising to its return."""

    condition: Condition
    subject: str
    at_ms: int
    forecast_for_ms: int | None
    priority: str
    cause: str
    grade: str
    evidence: Mapping[str, float | str]
    advice: tuple[Advice, ...]
    text: str
    feed_at_ms: int | None = None
    returned_ms: int | None = None
    came_ms: int | None = None
    """When an alert that foresaw first reported."""
    right: str = ""
    why: str = ""
    gone_too_soon: bool = False
    """It returned while the truth had not left the far side of the grey zone for its off-delay."""
    changes: list[str] = field(default_factory=list)

    def open_at(self, at_ms: int) -> bool:
        """Tell whether the alert was open at a moment."""
        return self.at_ms <= at_ms and (self.returned_ms is None or self.returned_ms > at_ms)


def finder_of(event: Event, alerts: Sequence[Raised]) -> Raised | None:
    """Return the alert that found the event: open at its start, else the nearest in its window."""
    of = [one for one in alerts if one.condition is event.condition]
    at_start = [one for one in of if one.open_at(event.start_ms)]
    if at_start:
        return at_start[-1]
    after = [one for one in of if event.start_ms <= one.at_ms <= event.deadline_ms]
    if after:
        return after[0]
    before = [one for one in of if event.start_ms - EARLY_MS <= one.at_ms < event.start_ms]
    return before[-1] if before else None


def share_told(
    event: Event, alerts: Sequence[Raised], watched: Watched, at_ms: Moments
) -> float | None:
    """Return the share of the time beyond doubt, after the deadline, in which an alert was open."""
    with np.errstate(invalid="ignore"):
        surely = watched.beyond >= watched.far
    asked = (at_ms >= event.deadline_ms) & (at_ms <= event.end_ms) & surely
    if not asked.any():
        return None
    told = np.zeros(len(at_ms), dtype=np.bool_)
    for one in alerts:
        if one.condition is event.condition:
            until_ms = at_ms[-1] + 1 if one.returned_ms is None else one.returned_ms
            told |= (at_ms >= one.at_ms) & (at_ms < until_ms)
    return float(told[asked].mean())


def judge_alert(
    alert: Raised, watched: Watched, at_ms: Moments, entries: Sequence[Entry]
) -> tuple[str, str]:
    """Return whether an alert of a bin was right, and why."""
    with np.errstate(invalid="ignore"):
        zone = watched.beyond >= -watched.near
    begin_ms = alert.at_ms - watched.on_ms - watched.slack_ms
    now = (at_ms >= begin_ms) & (at_ms <= alert.at_ms + watched.slack_ms)
    if zone[now].any():
        return RIGHT, "so it was"
    if alert.forecast_for_ms is None:
        soon = (at_ms >= alert.at_ms) & (at_ms <= alert.at_ms + EARLY_REPORT_MS) & zone
        if soon.any() and alert.open_at(int(at_ms[soon][0])):
            return RIGHT, f"it came true after {(at_ms[soon][0] - alert.at_ms) / HOUR_MS:.1f} h"
        nearest = watched.beyond[now]
        known = nearest[~np.isnan(nearest)]
        off = f"{known.max():+.2f} from the limit" if len(known) else "never in question"
        return FALSE, f"the truth was {off}"
    ahead_ms = max(0, alert.forecast_for_ms - alert.at_ms)
    until_ms = alert.forecast_for_ms + ahead_ms // 2 + LATE_FORECAST_MS
    coming = (at_ms >= alert.at_ms) & (at_ms <= until_ms)
    came = np.flatnonzero(coming & zone)
    deed_ms = _deed_ms(alert, entries)
    if len(came) and (deed_ms is None or at_ms[came[0]] <= deed_ms):
        return RIGHT, f"it came after {(at_ms[came[0]] - alert.at_ms) / HOUR_MS:.1f} h"
    if deed_ms is not None and deed_ms <= until_ms:
        return LEFT_OUT, "the keeper did something"
    later = np.flatnonzero((at_ms >= alert.at_ms) & (at_ms <= alert.at_ms + EARLY_MS) & zone)
    if len(later) and alert.open_at(int(at_ms[later[0]])):
        return RIGHT, f"{LATE} {(at_ms[later[0]] - alert.at_ms) / HOUR_MS:.1f} h"
    if until_ms > at_ms[-1]:
        return LEFT_OUT, "the case ended before"
    reached = watched.beyond[coming]
    known = reached[~np.isnan(reached)]
    off = f"it came to {known.max():+.2f} from the limit" if len(known) else "it could not come"
    return FALSE, f"{off} in {(until_ms - alert.at_ms) / HOUR_MS:.0f} h"


def returned_too_soon(alert: Raised, watched: Watched, at_ms: Moments) -> bool:
    """Tell whether the alert returned although the truth was beyond doubt for the whole off-delay."""
    if alert.returned_ms is None:
        return False
    waited = (at_ms > alert.returned_ms - watched.off_ms) & (at_ms <= alert.returned_ms)
    with np.errstate(invalid="ignore"):
        return bool(waited.any() and (watched.beyond[waited] >= watched.far).all())


def _deed_ms(alert: Raised, entries: Sequence[Entry]) -> int | None:
    """Return when the keeper first did something about it after it was raised."""
    kinds = OVERTAKES[alert.condition]
    times = [
        entry.at_ms
        for entry in entries
        if entry.at_ms > alert.at_ms
        and isinstance(entry.what, kinds)
        and (not isinstance(entry.what, Sighting) or entry.text)
    ]
    return min(times, default=None)
