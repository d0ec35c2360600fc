"""A weighed sample counts for months: live, after a restart and in a replay alike, until a move."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from judge.series import START_MS, entry, setup
from underlid.binmodel.bins import Setup
from underlid.clock import VirtualClock
from underlid.journal.entries import Entry, Moved, Sighting
from underlid.judge import Judge
from underlid.readings.values import Admitted, Reading
from underlid.replay import replay
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS
from underlid.watch import Watch

DAYS = 32
STEP_H = 6
WEIGHED = entry(60, Sighting(moisture_pct=77.0), 1)
NEVER_WEIGHED: tuple[tuple[float, float], ...] = ()


def place() -> Setup:
    made = setup()
    made.probes["tansy-1"] = replace(made.probes["tansy-1"], soil_points=NEVER_WEIGHED)
    return made


def history(dense: tuple[int, int] = (0, 0)) -> list[Reading]:
    """Return a month of hourly readings: a bed that keeps its water; some of the first week came late.

    Between the hours *dense* they come every five minutes.
    """
    rng = random.Random(5)
    made = []
    for step in range(DAYS * 24 * 12):
        hour = step / 12
        if step % 12 and not dense[0] <= hour < dense[1]:
            continue
        wave = math.sin(2 * math.pi * hour / 24)
        at_ms = START_MS + round(hour * HOUR_MS) + rng.randrange(HOUR_MS // 20)
        received_ms = START_MS + 100 * HOUR_MS if 50 <= hour < 66 else at_ms
        soil = 1870.0 + 8 * wave + round(rng.gauss(0, 4))
        values = {"bed_temp_c": 19.0 + 0.5 * wave, "soil_raw": 2900.0 if hour == 61 else soil}
        made.append(Reading("tansy-1", "potting", at_ms, received_ms, values))
        made.append(Reading("air1", "potting", at_ms, at_ms, {"shed_temp_c": 18.0 + wave}))
    return sorted(made, key=lambda one: (one.received_at_ms, one.taken_at_ms, one.probe))


class Live:
    """A service's judge on a real store, ticking every six hours."""

    def __init__(self, folder: Path) -> None:
        self.records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
        self.store = SqliteReadings(folder / "readings.sqlite")
        self.clock = VirtualClock(START_MS)
        self.records.save_setup(place())
        self.coming = history()
        self.watch = self.started()

    def started(self) -> Watch:
        watch = Watch(self.records, self.store, self.clock, tick_s=60)
        watch.start()
        return watch

    def until(self, day: float) -> None:
        while self.clock.now_ms() < START_MS + day * DAY_MS:
            now_ms = self.clock.now_ms() + STEP_H * HOUR_MS
            came = [one for one in self.coming if one.received_at_ms <= now_ms]
            del self.coming[: len(came)]
            self.store.write(came)
            self.watch.take(Admitted(came, [], [], []))
            self.clock.set_ms(now_ms)
            self.watch.tick()

    def lessons(self, watch: Watch | None = None) -> dict[str, Any]:
        state = (watch or self.watch).state("tansy")
        assert state is not None
        lessons = state["lessons"]
        assert isinstance(lessons, dict)
        return lessons

    def restarted(self) -> Watch:
        watch = self.started()
        watch.tick()
        return watch


@pytest.fixture
def live(tmp_path: Path) -> Iterator[Live]:
    made = Live(tmp_path)
    yield made
    made.store.close()
    made.records.close()


def replayed(entries: list[Entry], day: float) -> dict[str, Any]:
    judges: list[Judge] = []
    until_ms = START_MS + round(day * DAY_MS)
    coming = [one for one in history() if one.received_at_ms <= until_ms]
    tick_ms = STEP_H * HOUR_MS
    for _ in replay(
        place(), coming, entries, until_ms=until_ms, tick_ms=tick_ms, judge_made=judges.append
    ):
        pass
    state = judges[0].state("tansy")
    assert state is not None
    lessons = state["lessons"]
    assert isinstance(lessons, dict)
    return lessons


def test_an_old_sample_counts_alike_live_after_a_restart_and_in_a_replay(live: Live) -> None:
    live.records.add_entry(WEIGHED)
    live.until(7)
    young = live.lessons()
    live.until(DAYS)
    old = live.lessons()
    assert old["moisture_shift_pct"]["value"] == pytest.approx(
        young["moisture_shift_pct"]["value"], abs=0.5
    )
    assert "1 older sample" in old["moisture_shift_pct"]["text"]
    assert old["moisture_sd_pct"]["value"] < 4.0
    assert old["moisture_shift_pct"]["sd"] > young["moisture_shift_pct"]["sd"]
    assert live.lessons(live.restarted()) == old
    assert replayed([WEIGHED], DAYS) == old


def test_a_move_ends_it_and_a_withdrawn_sample_is_none(live: Live) -> None:
    live.records.add_entry(WEIGHED)
    live.until(24)
    assert live.lessons()["moisture_shift_pct"]["count"] == 1
    live.records.add_entry(replace(entry(24 * 24, Moved(), 2)))
    live.until(26)
    assert live.lessons()["moisture_shift_pct"]["count"] == 0
    live.records.withdraw_entry("entry-2", "Ash", live.clock.now_ms())
    live.until(27)
    assert live.lessons()["moisture_shift_pct"]["count"] == 1
    live.records.withdraw_entry("entry-1", "Ash", live.clock.now_ms())
    live.until(28)
    assert live.lessons()["moisture_shift_pct"]["count"] == 0
    assert live.lessons()["moisture_sd_pct"]["value"] > 7.0


def test_a_sample_noted_weeks_later_is_read_from_the_store(live: Live) -> None:
    live.until(28)
    live.records.add_entry(replace(WEIGHED, known_at_ms=live.clock.now_ms()))
    live.until(28.5)
    lessons = live.lessons()
    assert lessons["moisture_shift_pct"]["count"] == 1
    assert live.lessons(live.restarted()) == lessons


def test_a_probe_told_to_be_moved_forgets_what_was_weighed_before(live: Live) -> None:
    live.records.add_entry(WEIGHED)
    live.coming = history(dense=(90, 150))
    for one in live.coming:
        if one.probe == "tansy-1" and one.taken_at_ms > START_MS + 5 * DAY_MS:
            one.values["soil_raw"] -= 160.0
    live.until(DAYS)
    assert "moved" in [one.cause for one in live.records.alerts()]
    lessons = live.lessons()
    assert lessons["moisture_shift_pct"]["count"] == 0
    assert live.lessons(live.restarted()) == lessons
