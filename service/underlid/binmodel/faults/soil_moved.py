"""Moved: a soil probe says something else from one reading to the next, and goes on saying it.

A bed's water moves in hours; what a probe says also hangs on the soil it touches. So a step that nobody's
work explains is another place, or water that nobody wrote down. Neither is known, so moisture is unknown
until a sample is weighed, the probe is back, or the journal explains it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from underlid.binmodel.faults.fault import SETTLES_H, SOILS, Span
from underlid.binmodel.faults.pulled import FALL_PCT, is_dry
from underlid.binmodel.faults.scene import DRYING, Begin, Scene
from underlid.binmodel.probes.hot import BUCKET_MS, BUCKETS_PER_HOUR
from underlid.binmodel.window import sources
from underlid.journal.entries import Feed, LiquidAdded, Sighting
from underlid.science.numeric import Floats

STEP_PCT: Final = 3.0
"""% points; several times a cheap probe's noise, and more than feeds or drying bring within minutes (our
judgement)."""

RISE_PCT: Final = 3.6
"""A rise must be more: a tenth of the bed's mass in water, poured in unwritten, raises a dry one by 3."""

SLOW_STEP_PCT: Final = 5.0
SLOW_FROM: Final = 4
"""Of a probe with so many buckets between readings, or more, no step is sharp, so it must be larger."""

SHARP_SHARE: Final = 0.7
"""Share of the step that lies between readings next but one: water sinks in more slowly."""

NOISES: Final = 4.0
"""So many times the usual leap of those hours it must be: a loose contact makes steps all the time."""

STAYS: Final = 0.7
KNOWN_LEAST_H: Final = 12
"""Known hours of the day before: a probe that was put in only now settles (our judgement)."""

PAST_H: Final = 26
RETURN_SHARE: Final = 0.4
"""A step that leads back to within this share of an earlier one undoes it."""

UNDONE_WITHIN_H: Final = 7 * 24
"""As far back as every table of hours reaches, whether the service was just started or not."""

SPREADS_H: Final = 36
"""Water that nobody wrote down runs off or spreads in a day or so; another place stays (our judgement)."""

HELD_MOST_H: Final = 12 * 24
"""Then the new place is taken as meant: a service that was started anew knows no more of the past."""

FEED_DRIER_PCT: Final = 40.0
"""% points by which a dry feed lies below the bed."""

THIRSTY_PCT: Final = 6.0
QUENCHED_PCT: Final = 2.0
"""A bed so near its lower limit is watered as told, written down or not; and up to so much above its
target (our judgement)."""

WATERED_BEFORE: Final = 2 * BUCKETS_PER_HOUR
WORKED_BEFORE: Final = BUCKETS_PER_HOUR
WORKED_AFTER: Final = 3 * BUCKETS_PER_HOUR
WATERED_AFTER: Final = 6 * BUCKETS_PER_HOUR
"""An entry explains a step that lies so many buckets after, or before, it: notes are written later."""


class Step(NamedTuple):
    """A step within an hour of a table, % points of moisture."""

    hour: int
    bucket: int
    before: float
    after: float


def begins(scene: Scene, at: int) -> list[Begin]:
    """Return the soil channels that are seen, in an hour of index ≥ *at*, to have made a step."""
    found = []
    for row in scene.rows(SOILS):
        wet = scene.table.mean[row] * scene.pct_per_unit(row)
        if not _step_hours(wet, max(3, at - 2)):
            continue
        steps = _steps(scene, row, wet)
        for place, step in enumerate(steps):
            if step.hour + 2 < at or _leads_back(scene, row, steps[: place + 1]):
                continue
            if not _is_moved(scene, row, step):
                continue
            found.append(Begin(step.hour + 2, row, step.bucket, (step.before, step.after)))
    return found


def ended(scene: Scene, row: int, at: int, span: Span) -> int | None:
    """Return the bucket from which the channel is believed again."""
    table = scene.table
    settled = span.from_bucket + SETTLES_H * BUCKETS_PER_HOUR
    now = table.bucket_of(at + 1)
    if now >= settled and _weighed(scene, row, span.from_bucket, now):
        return settled
    held_h = (now - span.from_bucket) / BUCKETS_PER_HOUR
    if held_h >= HELD_MOST_H:
        return now
    before, after = span.anchor
    wet = table.mean[row, max(0, at - 4) : at + 1] * scene.pct_per_unit(row)
    recent = wet[-2:]
    if len(wet) < 5 or np.isnan(recent).any() or held_h < 2:
        return None
    size, last = after - before, float(recent.mean())
    back = abs(last - before) <= RETURN_SHARE * abs(size)
    leapt = (float(np.nanmedian(wet[:3])) - last) / size >= 1.0 - RETURN_SHARE
    if leapt or (back and held_h <= SPREADS_H):
        return table.bucket_of(at)
    return None


def _step_hours(wet: Floats, first: int) -> list[int]:
    """Return the hours ≥ *first* whose neighbours on either side differ by a step."""
    if len(wet) < 6:
        return []
    before = np.fmin(wet[1:-4], wet[2:-3]), np.fmax(wet[1:-4], wet[2:-3])
    after = np.fmin(wet[4:-1], wet[5:]), np.fmax(wet[4:-1], wet[5:])
    with np.errstate(invalid="ignore"):
        far = np.maximum(after[0] - before[1], before[0] - after[1]) >= STEP_PCT * STAYS
    hours = np.flatnonzero(far) + 3
    return [int(one) for one in hours if one >= first]


def _steps(scene: Scene, row: int, wet: Floats) -> list[Step]:
    """Return the steps of a channel, oldest first; of a step seen in several hours the largest leap."""
    found: list[Step] = []
    for hour in _step_hours(wet, 3):
        step = _step_at(scene, row, hour, wet)
        if step is None:
            continue
        if found and step.hour - found[-1].hour <= 2:
            if abs(step.after - step.before) > abs(found[-1].after - found[-1].before):
                found[-1] = step
        else:
            found.append(step)
    return found


def _step_at(scene: Scene, row: int, hour: int, wet: Floats) -> Step | None:
    """Return the step in *hour* if it is sharp."""
    table = scene.table
    before, after = _middle(wet[hour - 3 : hour]), _middle(wet[hour + 1 : hour + 3])
    skip = (hour - 1) * BUCKETS_PER_HOUR
    buckets, said = table.samples(row, skip)
    inside = buckets < (hour + 2) * BUCKETS_PER_HOUR
    buckets, values = buckets[inside], said[inside] * scene.pct_per_unit(row)
    if len(values) < 3:
        return None
    size = after - before
    slow = float(np.median(np.diff(buckets))) >= SLOW_FROM
    leaps = (values[2:] - values[:-2]) * np.sign(size)
    at = int(np.argmax(leaps))
    least = max(SHARP_SHARE * abs(size), NOISES * float(np.median(np.abs(leaps))))
    enough = SLOW_STEP_PCT if slow else RISE_PCT if size > 0.0 else STEP_PCT
    if abs(size) < enough or leaps[at] < least:
        return None
    return Step(hour, table.first_bucket + int(buckets[at]), before, after)


def _middle(values: Floats) -> float:
    known = values[~np.isnan(values)]
    return float(np.median(known)) if len(known) else float("nan")


def _leads_back(scene: Scene, row: int, steps: Sequence[Step]) -> bool:
    """Tell whether the last of *steps* leads back from where one of the others led, and no further.

    A way there and back is done with: the step after it leads away anew, however far it goes. Nor is
    there a way back from a place where a sample was weighed: since then that place is the one believed.
    """
    last, away = steps[-1], list[Step]()
    for step in steps:
        if last.hour - step.hour > UNDONE_WITHIN_H:
            continue
        undone = [
            one
            for one in away
            if _undoes(step, one) and not _weighed(scene, row, one.bucket, step.bucket)
        ]
        if undone:
            away.remove(undone[-1])
        else:
            away.append(step)
    return last not in away


def _undoes(step: Step, earlier: Step) -> bool:
    """Tell whether a step leads back to where the channel was before an earlier one."""
    size = earlier.after - earlier.before
    against = (step.after - step.before) * size < 0.0
    back = abs(step.after - step.before + size) <= RETURN_SHARE * abs(size)
    return against and back


def _is_moved(scene: Scene, row: int, step: Step) -> bool:
    """Tell whether a step is neither a fall into the air, nor a probe put in, nor explained by work."""
    table = scene.table
    past = table.mean[row, max(0, step.hour - PAST_H) : step.hour]
    if np.count_nonzero(~np.isnan(past)) < KNOWN_LEAST_H or is_dry(scene, row, step.hour - 1, 6):
        return False
    size = step.after - step.before
    if size <= -FALL_PCT:
        return False
    if abs(step.after - _middle(past) * scene.pct_per_unit(row)) < STAYS * STEP_PCT:
        return False
    if size < 0.0:
        worked = scene.was_handled(step.bucket, WORKED_BEFORE, WATERED_AFTER, DRYING)
        return not (worked or _dries(scene, step))
    if _was_due(scene, row, step):
        return False
    watered = scene.was_handled(step.bucket, WATERED_BEFORE, WATERED_AFTER, (LiquidAdded,))
    return not (watered or scene.was_handled(step.bucket, WORKED_BEFORE, WORKED_AFTER))


def _was_due(scene: Scene, row: int, step: Step) -> bool:
    """Tell whether a rise brought a bed that wanted water to about its target: then it was watered."""
    probe, channel = scene.table.keys[row]
    place, window = scene.places.get(probe), scene.window
    lines = (
        [line for name, line in sources(place, "moisture_pct") if name == channel] if place else []
    )
    if not lines:
        return False
    before, after = (
        lines[0].apply(one / scene.pct_per_unit(row)) for one in (step.before, step.after)
    )
    thirsty = before <= window.limits.moisture_low_warn_pct + THIRSTY_PCT
    return bool(thirsty and after <= window.bin.target_moisture_pct + QUENCHED_PCT)


def _dries(scene: Scene, step: Step) -> bool:
    """Tell whether a feed, mixed in, may have made the bed so much drier: bread has 40 points less."""
    fed_g = sum(
        entry.what.mass_g
        for entry in scene.window.entries
        if isinstance(entry.what, Feed)
        and step.bucket - WORKED_BEFORE <= entry.at_ms // BUCKET_MS <= step.bucket + WORKED_AFTER
    )
    share = fed_g / (1000.0 * scene.window.bin.bed_kg + fed_g)
    return step.before - step.after <= FEED_DRIER_PCT * share


def _weighed(scene: Scene, row: int, since: int, until: int) -> bool:
    """Tell whether a sample was weighed, or the channel calibrated anew, in buckets of a span."""
    place = scene.places.get(scene.table.keys[row][0])
    times = [
        one.at_ms
        for one in scene.window.entries
        if isinstance(one.what, Sighting) and one.what.moisture_pct is not None
    ]
    if place is not None:
        times += [one.from_ms for one in place.calibrations if one.channel in SOILS]
    return any(since <= at_ms // BUCKET_MS < until for at_ms in times)
