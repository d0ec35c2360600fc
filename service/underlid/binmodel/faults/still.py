"""Stuck: a channel stands still while others that go with it move.

How long a healthy channel stands still depends on its steps and on the bed: one with steps of half a
kelvin may show the same for half a day. So a run counts against the longest one before it.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.faults.fault import Span
from underlid.binmodel.faults.scene import HUMIDITIES, TEMPERATURES, Begin, Scene, span_of
from underlid.binmodel.faults.table import LOOKBACK_H
from underlid.binmodel.lids.humidity import RH_BELIEVED_MOST_PCT

STILL_H: Final = 6
"""Science page, fault classes: range over six hours below one step."""

STEP_OF: Final = {
    "bed_temp_c": 0.02,
    "headspace_temp_c": 0.02,
    "lid_temp_c": 0.02,
    "shed_temp_c": 0.02,
    "headspace_rh_pct": 0.05,
    "shed_rh_pct": 0.05,
    "moisture_pct": 0.02,
    "soil_raw": 1.0,
    "soil_index": 0.0005,
}
"""A channel whose mean of five minutes moves less stands still."""

MOVED_K: Final = 1.5
MOVED_PCT: Final = 5.0
"""How far a sibling must move meanwhile: over five steps of a coarse one."""

KNOWN_FROM_H: Final = 24
"""Hours before a run that tell how long the channel stands still in good health."""

UNKNOWN_STILL_H: Final = 10
UNKNOWN_MOVED_K: Final = 1.8
"""Without such hours the run must be longer, and a temperature of the same probe must move more (our
judgement): the bed under a moving headspace may still be even by chance."""


def begins(scene: Scene, at: int) -> list[Begin]:
    """Return the runs that have become too long at the end of an hour of index ≥ *at*."""
    table = scene.table
    steps = np.array([STEP_OF[channel] for _, channel in table.keys])
    flat = table.high - table.low <= steps[:, None]
    near = flat[:, max(0, at - STILL_H + 1) :].sum(1)
    return [
        begin
        for row in np.flatnonzero(near >= STILL_H).tolist()
        for begin in _runs(scene, row, float(steps[row]), at)
    ]


def ended(scene: Scene, row: int, at: int, span: Span) -> int | None:
    """Return the bucket from which the channel moves again, if it does in the hour at *at*."""
    table = scene.table
    if not table.known[row, at]:
        return None
    value, step = span.anchor[0], STEP_OF[table.keys[row][1]]
    moved = table.high[row, at] > value + step or table.low[row, at] < value - step
    return table.bucket_of(at) if moved else None


def _runs(scene: Scene, row: int, step: float, at: int) -> list[Begin]:
    """Return, per run, the first hour at which it is too long."""
    table = scene.table
    lows, highs = table.low[row].tolist(), table.high[row].tolist()
    found: list[Begin] = []
    before: list[tuple[int, int]] = []
    start, length, low, high, told = 0, 0, np.inf, -np.inf, False
    for hour, (under, over) in enumerate(zip(lows, highs, strict=True)):
        if np.isnan(under):
            continue
        low, high = min(low, under), max(high, over)
        if high - low > step:
            before.append((start, length))
            start, length, low, high, told = hour, 0, under, over, False
            if over - under > step:
                start, low, high = hour + 1, np.inf, -np.inf
                continue
        length += 1
        if hour >= at and not told and _too_long(scene, row, start, hour, length, before):
            found.append(Begin(hour, row, table.bucket_of(start), (low,)))
            told = True
    return found


def _too_long(
    scene: Scene, row: int, start: int, hour: int, length: int, before: list[tuple[int, int]]
) -> bool:
    """Tell whether a run of *length* hours says that the channel is stuck."""
    table = scene.table
    probe, channel = table.keys[row]
    if length < STILL_H:
        return False
    if channel in HUMIDITIES and table.high[row, hour] >= RH_BELIEVED_MOST_PCT:
        return False  # A humidity sensor at its end is uninformative, not stuck.
    stop, first = hour + 1, max(0, hour + 1 - LOOKBACK_H)
    known = int(np.count_nonzero(table.known[row, first:start]))
    longest = max((length for begun, length in before if begun >= first), default=0)
    if known < KNOWN_FROM_H:
        return (
            channel in TEMPERATURES
            and length >= UNKNOWN_STILL_H
            and any(
                span_of(scene, one, start, stop) >= UNKNOWN_MOVED_K
                for one in scene.rows(TEMPERATURES)
                if one != row and table.keys[one][0] == probe
            )
        )
    slow = channel not in TEMPERATURES and channel not in HUMIDITIES
    if length < (5 * longest + 6 if slow else 2 * longest + 3):
        return False
    siblings = [one for one in scene.rows(TEMPERATURES) if one != row]
    if any(span_of(scene, one, start, stop) >= MOVED_K for one in siblings):
        return True
    humid = [one for one in scene.rows(HUMIDITIES) if one != row] if channel in HUMIDITIES else []
    return any(span_of(scene, one, start, stop) >= MOVED_PCT for one in humid)
