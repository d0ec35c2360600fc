"""The true events of a case: when the truth went beyond a limit, and by when that must be known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from underlid.rules.finding import Condition
from underlid.score.watched import Flags, Moments, Watched
from underlid.simulate.sensors import Fault, FaultKind
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

BUCKET_MS = 5 * MINUTE_MS
WARM_UP_MS = DAY_MS

NEEDS = {
    Condition.CONDENSATION: ("headspace_temp_c", "headspace_rh_pct", "shed_temp_c"),
    Condition.OVERHEATING: ("bed_temp_c",),
    Condition.TOO_COLD: ("bed_temp_c",),
    Condition.DRYING_OUT: ("soil_raw",),
    Condition.TOO_WET: ("soil_raw",),
    Condition.HUNGRY: (),
    Condition.SOUR: ("soil_raw",),
}
"""The channels without which a condition cannot be seen."""

HARMLESS = (FaultKind.SPIKE, FaultKind.DROPOUT, FaultKind.SHUFFLED)
"""Faults that leave enough of a channel to judge by."""

NEED_NOT_BE_TOLD = (FaultKind.LATE, FaultKind.SHUFFLED, FaultKind.SATURATED)
"""Late readings come in the end; a saturated humidity sensor says nothing, but is not broken."""

PULLED = ("bed_temp_c", "soil_raw")


@dataclass(frozen=True, slots=True)
class Event:
    """One stretch beyond a limit that must be found by `deadline_ms`."""

    condition: Condition
    start_ms: int
    end_ms: int
    deadline_ms: int
    peak: float
    """The most it went beyond the limit."""
    alarm_ms: int | None
    """When the alarm limit was reached."""


def events_of(watched: Watched, at_ms: Moments, faults: Sequence[Fault] = ()) -> list[Event]:
    """Return the events of one condition, those left out that began in the first day."""
    found = []
    with np.errstate(invalid="ignore"):
        beyond = watched.beyond >= 0.0
        surely = watched.beyond >= watched.far
    if watched.asked is not None:
        beyond, surely = beyond & watched.asked, surely & watched.asked
    for first, last in joined(beyond, at_ms, watched.off_ms):
        left_ms = _first_long(surely, at_ms, first, last, watched.on_ms + BUCKET_MS)
        start_ms = int(at_ms[first])
        if left_ms is None or start_ms < at_ms[0] + WARM_UP_MS:
            continue
        part = watched.beyond[first : last + 1]
        alarm = watched.alarm_beyond
        reached = np.flatnonzero(part >= alarm) if alarm is not None else np.zeros(0, np.int64)
        found.append(
            Event(
                watched.condition,
                start_ms,
                int(at_ms[last]),
                heard_ms(left_ms, faults) + watched.on_ms + watched.slack_ms,
                float(np.nanmax(part)),
                int(at_ms[first + reached[0]]) if len(reached) else None,
            )
        )
    return found


def heard_ms(at_ms: int, faults: Sequence[Fault]) -> int:
    """Return when what the probes said of a moment had come: of shuffled readings, half of them."""
    heard = at_ms
    for fault in faults:
        if fault.kind is FaultKind.LATE and fault.holds(at_ms):
            heard = max(heard, fault.until_ms)
        elif fault.kind is FaultKind.SHUFFLED and fault.holds(at_ms):
            heard = max(heard, at_ms + round(0.5 * fault.size * HOUR_MS))
    return heard


def joined(flags: Flags, at_ms: Moments, gap_ms: int) -> list[tuple[int, int]]:
    """Return (first, last) of each stretch of True, those less than *gap_ms* apart as one."""
    at = np.flatnonzero(flags)
    if not len(at):
        return []
    cuts = np.flatnonzero(np.diff(at_ms[at]) > max(gap_ms, int(at_ms[1] - at_ms[0])))
    firsts = [int(at[0]), *[int(at[cut + 1]) for cut in cuts]]
    lasts = [*[int(at[cut]) for cut in cuts], int(at[-1])]
    return list(zip(firsts, lasts, strict=True))


def _first_long(flags: Flags, at_ms: Moments, first: int, last: int, least_ms: int) -> int | None:
    """Return when the first stretch longer than *least_ms* begins between *first* and *last*."""
    part, when = flags[first : last + 1], at_ms[first : last + 1]
    for begin, end in joined(part, when, 0) if len(part) > 1 else []:
        if when[end] - when[begin] > least_ms:
            return int(when[begin])
    return None


def is_blind(event: Event, faults: Sequence[Fault]) -> bool:
    """Tell whether the event's channels are faulty for half of the time in which it must be found."""
    span_ms = event.deadline_ms - event.start_ms
    for fault in faults:
        if fault.kind in HARMLESS or not _touches(fault, event.condition):
            continue
        common = min(fault.until_ms, event.deadline_ms) - max(fault.from_ms, event.start_ms)
        if common >= 0.5 * span_ms:
            return True
    return False


def _touches(fault: Fault, condition: Condition) -> bool:
    needs = NEEDS[condition]
    if fault.kind is FaultKind.PULLED_OUT:
        return any(channel in PULLED for channel in needs)
    if fault.channel:
        return fault.channel in needs
    in_air = fault.probe == "air"
    return any(channel.startswith("shed_") == in_air for channel in needs)


def fault_event(fault: Fault, end_ms: int) -> Event | None:
    """Return the event of a fault that a keeper must be told of; None where nothing need be said."""
    if fault.kind in NEED_NOT_BE_TOLD or fault.from_ms >= end_ms:
        return None
    until_ms = min(fault.until_ms, end_ms)
    return Event(Condition.PROBE_FAULT, fault.from_ms, until_ms, until_ms + 6 * HOUR_MS, 0.0, None)
