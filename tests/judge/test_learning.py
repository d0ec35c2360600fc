"""Lessons in the running judge: the same after a restart, anew after late data and journal entries."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from judge.series import START_MS, entry, melon, setup
from underlid.binmodel.probes.hot import BUCKET_MS
from underlid.binmodel.taught.lessons import Lessons
from underlid.journal.entries import Entry, Feed, LidLook, Portion, Sighting
from underlid.judge import Judge
from underlid.readings.values import Reading
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS
from underlid.workers.restart import usual_interval_ms

DAYS = 17
STEP_MIN = 20
TAU_H = 7.0
JOURNAL = [
    melon(125, 600),
    entry(150, Sighting(lid=LidLook.MIST, used_up=False), 2),
    entry(210, Sighting(lid=LidLook.DRY, used_up=True), 3),
    entry(300, Feed((Portion("melon", 600.0),)), 6),
    entry(340, Sighting(moisture_pct=76.0), 4),
    entry(370, Sighting(lid=LidLook.DROPS), 5),
]


def history(seed: int = 1) -> list[Reading]:
    """Return seventeen days of a bin whose bed follows its shed with `TAU_H`."""
    rng = random.Random(seed)
    made, bed, slow = [], 20.0, 0.0
    for minute in range(0, DAYS * 1440):
        hour = minute / 60
        slow += rng.gauss(0, 0.011) - 0.0005 * slow
        air = 18 + slow + 2.5 * np.cos(2 * np.pi * (hour - 15) / 24)
        bed += (air + 2.0 - bed) / 60 / TAU_H
        if minute % STEP_MIN:
            continue
        head = air + 0.6 * (bed - air)
        at_ms = START_MS + minute * MINUTE_MS + rng.randrange(0, 2 * MINUTE_MS)
        values = {
            "bed_temp_c": round(bed + rng.gauss(0, 0.05), 2),
            "headspace_temp_c": round(head + rng.gauss(0, 0.05), 2),
            "headspace_rh_pct": round(94 + rng.gauss(0, 0.5), 1),
            "soil_raw": float(round(1760 + 0.15 * hour + rng.gauss(0, 3))),
        }
        made.append(Reading("tansy-1", "potting", at_ms, at_ms, values))
        shed = {"shed_temp_c": round(air + rng.gauss(0, 0.05), 2), "shed_rh_pct": 60.0}
        made.append(Reading("air1", "potting", at_ms, at_ms, shed))
    return made


def judged(readings: list[Reading], entries: list[Entry], from_h: float, until_h: float) -> Judge:
    """Return a judge that lived from one hour to another, asked every three hours."""
    judge = Judge(setup(), START_MS + round(from_h * HOUR_MS))
    judge.set_entries("tansy", entries)
    place = 0
    for hour in range(round(from_h), round(until_h) + 1, 3):
        now_ms = START_MS + hour * HOUR_MS
        while place < len(readings) and readings[place].taken_at_ms < now_ms:
            place += 1
        judge.add_readings(readings[:place])
        readings, place = readings[place:], 0
        judge.judge(now_ms)
    return judge


def lessons(judge: Judge) -> dict[str, object]:
    state = judge.state("tansy")
    assert state is not None
    found = state["lessons"]
    assert isinstance(found, dict)
    return found


@pytest.fixture(scope="module")
def lived() -> Judge:
    return judged(history(), JOURNAL, 0, DAYS * 24)


def test_a_bin_teaches_while_it_is_watched(lived: Judge) -> None:
    taught = lessons(lived)
    names = {name for name, one in taught.items() if one["learnt"]}  # type: ignore[index]
    assert names >= {
        "time_constant_h", "head_share", "lid_factor", "drying_pct_d", "eaten_g_d",
        "moisture_sd_pct", "moisture_shift_pct",
    }  # fmt: skip
    assert taught["time_constant_h"]["value"] == pytest.approx(TAU_H, rel=0.1)  # type: ignore[index]
    assert taught["head_share"]["value"] == pytest.approx(0.6, abs=0.05)  # type: ignore[index]


@pytest.mark.parametrize("hours_ago", [0, 9])
def test_a_restart_learns_the_same(lived: Judge, hours_ago: int, tmp_path: Path) -> None:
    """Filled from a store that reaches back fourteen days, whatever the time of day."""
    hour = DAYS * 24 - hours_ago
    now_ms = START_MS + hour * HOUR_MS
    made = [one for one in history() if one.taken_at_ms < now_ms]
    entries = [one for one in JOURNAL if one.at_ms >= now_ms - 14 * DAY_MS]
    store = SqliteReadings(tmp_path / "readings.sqlite")
    store.write(made)
    started = Judge(setup(), now_ms)
    for probe in ("tansy-1", "air1"):
        found = store.buckets(probe, now_ms - 14 * DAY_MS, now_ms + HOUR_MS, BUCKET_MS)
        seen = store.probe_seen(probe)
        assert seen is not None
        started.fill(
            probe, found, seen.last_taken_at_ms, seen.last_values, usual_interval_ms(found)
        )
    store.close()
    started.set_entries("tansy", entries)
    started.judge(now_ms)
    whole = lived if hours_ago == 0 else judged(history(), JOURNAL, 0, hour)
    assert lessons(started) == lessons(whole)


def test_late_readings_and_entries_are_learnt_from_at_once() -> None:
    made = history(2)
    late = [one for one in made if 150 <= (one.taken_at_ms - START_MS) / HOUR_MS < 260]
    rest = [one for one in made if one not in late]
    end_ms = START_MS + DAYS * DAY_MS
    judge = judged(rest, JOURNAL[:5], 0, DAYS * 24)
    before = lessons(judge)
    judge.add_readings(late)
    judge.set_entries("tansy", JOURNAL)
    judge.judge(end_ms + 10 * MINUTE_MS)
    everything = judged(made, JOURNAL, 0, DAYS * 24)
    everything.judge(end_ms + 10 * MINUTE_MS)
    assert lessons(judge) != before
    assert lessons(judge) == lessons(everything)


def test_lessons_are_learnt_once_a_day_only(lived: Judge) -> None:
    learnt = [_lessons_of(judged(history(), JOURNAL, 0, hour)).at_ms for hour in (387, 390, 411)]
    assert learnt[0] == learnt[1]
    assert learnt[2] == learnt[0] + DAY_MS
    assert _lessons_of(lived).at_ms % BUCKET_MS == 0


def test_samples_given_later_equal_samples_given_before_the_readings_came() -> None:
    made = [one for one in history(3) if one.taken_at_ms < START_MS + 5 * DAY_MS]
    end_ms = START_MS + 5 * DAY_MS
    with_samples = setup()
    place = replace(with_samples.probes["tansy-1"], soil_points=())
    without = replace(with_samples, probes=with_samples.probes | {"tansy-1": place})
    states = []
    for first in (without, with_samples):
        judge = Judge(first, START_MS)
        judge.add_readings(made)
        judge.judge(end_ms)
        judge.set_setup(with_samples, end_ms)
        judge.judge(end_ms + 5 * MINUTE_MS)
        state = judge.state("tansy")
        assert state is not None
        states.append((state["now"], state["lessons"], state["verdicts"]))
    assert states[0] == states[1]


def _lessons_of(judge: Judge) -> Lessons:
    found = judge._window("tansy", START_MS).lessons
    assert found is not None
    return found
