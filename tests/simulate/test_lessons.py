"""Lessons of simulated bins, whose constants are not the judge's: closer to the truth than the prior."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from underlid.binmodel.taught.learning import prior_lessons
from underlid.binmodel.taught.lessons import Lesson, Lessons
from underlid.judge import Judge
from underlid.simulate.families.calm import calm
from underlid.simulate.keeper import feeds_regularly
from underlid.simulate.physics import PhysicalBin
from underlid.simulate.place import SimulatedPlace
from underlid.simulate.sketch import BIN, SHED, WITH_LID
from underlid.timeline import DAY_MS

CASES = 8
DAYS = 14
STEP_S = 300.0


@dataclass(frozen=True, slots=True)
class Taught:
    """What one simulated bin has taught, what was assumed, and what is true."""

    lessons: Lessons
    prior: Lessons
    tau_h: float
    factor: float
    share: float
    loss_pct_d: float


def response_h(bed: PhysicalBin, place: SimulatedPlace, at_ms: int) -> float:
    """Return the time constant by which the bin answers to a day's swing of the air: its phase."""
    around = place.around(SHED, at_ms)
    still, moved = deepcopy(bed), deepcopy(bed)
    answer = drive = 0j
    for step in range(round(72 * 3600 / STEP_S)):
        angle = 2 * np.pi * step * STEP_S / 86_400
        swing = 1.5 * np.sin(angle)
        still.step(STEP_S, around)
        moved.step(STEP_S, replace(around, temp_c=around.temp_c + swing))
        if step * STEP_S >= 24 * 3600:
            answer += (moved.bed_c - still.bed_c) * np.exp(-1j * angle)
            drive += swing * np.exp(-1j * angle)
    return float(np.tan(-np.angle(answer / drive)) * 24 / (2 * np.pi))


@cache
def taught() -> tuple[Taught, ...]:
    """Return eight bins of a fortnight each, with a probe on the lid."""
    found = []
    for number in range(CASES):
        case = calm("lessons", number, DAYS)
        feeds_regularly(case, DAYS)
        case.channels, case.every_ms = WITH_LID, 5 * 60_000
        place = case.place()
        stretch = place.run(case.end_ms)
        judge = Judge(place.setup, case.start_ms)
        judge.set_entries(BIN, stretch.entries)
        judge.add_readings(stretch.readings)
        judge.judge(case.end_ms)
        lessons = judge._window(BIN, case.end_ms).lessons
        assert lessons is not None
        truths = [one.values for one in stretch.truths]
        shed = np.array([place.around(SHED, one.at_ms).temp_c for one in stretch.truths])
        bed, head, lid = (
            np.array([one[name] for one in truths]) - shed
            for name in ("bed_temp_c", "headspace_temp_c", "lid_temp_c")
        )
        moisture = np.array([one["moisture_pct"] for one in truths])
        found.append(
            Taught(
                lessons,
                prior_lessons(place.setup.bins[BIN], case.end_ms),
                response_h(place.bins[BIN], place, case.end_ms - DAY_MS),
                float(lid @ head / (head @ head)),
                float(head @ bed / (bed @ bed)),
                float(moisture[:288].mean() - moisture[-288:].mean()) / (DAYS - 1),
            )
        )
    return tuple(found)


def errors(name: str, truth: str) -> tuple[float, float, int]:
    """Return mean errors of learnt lessons and of their priors, and how many are learnt."""
    pairs = [
        (getattr(one.lessons, name), getattr(one.prior, name), getattr(one, truth))
        for one in taught()
    ]
    learnt: list[tuple[Lesson, Lesson, float]] = [pair for pair in pairs if pair[0].learnt]
    off = [abs(lesson.value - true) for lesson, _, true in learnt]
    before = [abs(prior.value - true) for _, prior, true in learnt]
    return float(np.mean(off)), float(np.mean(before)), len(learnt)


def test_the_time_constant_is_closer_than_the_prior() -> None:
    off, before, learnt = errors("time_constant_h", "tau_h")
    assert learnt >= 7
    assert off < 0.5 * before


def test_the_headspace_is_closer_than_the_prior() -> None:
    off, before, learnt = errors("head_share", "share")
    assert learnt >= 7
    assert off < 0.3 * before


def test_the_lid_is_closer_than_the_prior_where_a_probe_measures_it() -> None:
    off, before, learnt = errors("lid_factor", "factor")
    assert learnt >= 5
    assert off < 0.8 * before


def test_the_drying_is_closer_than_the_prior() -> None:
    off, before, learnt = errors("drying_pct_d", "loss_pct_d")
    assert learnt >= 7
    assert off < 0.7 * before
