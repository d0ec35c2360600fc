"""A herd that has just been set up, moved or added to: for some days it is watched more closely.

Worms that do not know a place climb and wander. There is no condition of its own for that: alerts of
such a bin come after half the delay and say so (`pipeline`), and the state says until when.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Moved, Worms
from underlid.timeline import DAY_MS

MOVED_DAYS: Final = 5
ADDED_DAYS: Final = 7
"""Common practice runs from three days to a week."""

ADDED_LEAST_G: Final = 50.0
"""Fewer worms make no new herd (our judgement)."""


@dataclass(frozen=True, slots=True)
class Unsettled:
    """Why a herd is not settled, since when, and until when it is watched more closely."""

    why: str
    since_ms: int
    until_ms: int


def unsettled(window: BinWindow) -> Unsettled | None:
    """Return why the herd is unsettled at `now_ms`, by the latest end; None for a settled one."""
    found = None
    for entry in window.entries:
        if isinstance(entry.what, Moved):
            why, days = "moved", MOVED_DAYS
        elif isinstance(entry.what, Worms) and entry.what.mass_g >= ADDED_LEAST_G:
            why, days = "worms added", ADDED_DAYS
        else:
            continue
        until_ms = entry.at_ms + days * DAY_MS
        if window.now_ms < until_ms and (found is None or until_ms > found.until_ms):
            found = Unsettled(why, entry.at_ms, until_ms)
    return found
