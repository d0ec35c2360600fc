"""Every detector of slow faults. A new one is one file, a line here, and a test in `gates` if it is
asked every hour.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from underlid.binmodel.faults import (
    drift,
    dry_as_air,
    gaps,
    moved,
    noise,
    nonsense,
    pulled,
    ramp,
    soil_moved,
    still,
    straight,
)
from underlid.binmodel.faults.fault import Cause, Span
from underlid.binmodel.faults.scene import Begin, Scene

Begins = Callable[[Scene, int], list[Begin]]
BeginsAt = Callable[[Scene, Sequence[int]], list[Begin]]
Ended = Callable[[Scene, int, int, Span], int | None]

DETECTORS: Final[tuple[tuple[Cause, Begins, Ended], ...]] = (
    (Cause.NONSENSE, nonsense.begins, nonsense.ended),
    (Cause.STUCK, still.begins, still.ended),
    (Cause.NOISE, noise.begins, noise.ended),
    (Cause.PULLED_OUT, pulled.soil_begins, pulled.soil_ended),
    (Cause.PULLED_OUT, dry_as_air.begins, pulled.soil_ended),
    (Cause.MOVED, moved.begins, moved.ended),
    (Cause.MOVED, soil_moved.begins, soil_moved.ended),
)
"""Asked at every whole hour."""

SLOW: Final[tuple[tuple[Cause, BeginsAt, Ended], ...]] = (
    (Cause.PULLED_OUT, pulled.bed_begins, pulled.bed_ended),
    (Cause.DRIFT, drift.begins, drift.ended),
    (Cause.DRIFT, ramp.begins, ramp.ended),
    (Cause.DRIFT, straight.begins, ramp.ended),
    (Cause.DROPOUT, gaps.begins, gaps.ended),
)
"""Asked every sixth hour."""

SLOW_H: Final = 6


class Begun(NamedTuple):
    """A fault that has been found, with what tells its end."""

    cause: Cause
    ended: Ended
    begin: Begin


def begun_by_hour(scene: Scene, at: int) -> dict[int, list[Begun]]:
    """Return what is found at the end of each of the table's hours of index ≥ *at*."""
    hours = range(at, scene.table.hours)
    slow = [hour for hour in hours if (scene.table.first_h + hour + 1) % SLOW_H == 0]
    found: dict[int, list[Begun]] = {}
    for cause, begins, ended in DETECTORS:
        for begin in begins(scene, at):
            found.setdefault(begin.at, []).append(Begun(cause, ended, begin))
    for cause, begins_at, ended in SLOW if slow else ():
        for begin in begins_at(scene, slow):
            found.setdefault(begin.at, []).append(Begun(cause, ended, begin))
    return found
