"""What a feed would do is what is foreseen once it is written down, and asking changes nothing."""

from __future__ import annotations

import math

import numpy as np
import pytest

from judge.series import START_MS, entry, readings, setup
from underlid.binmodel.outlook.what_if import WhatIf, what_if
from underlid.journal.entries import Feed, Portion
from underlid.judge import Judge
from underlid.pipeline import day_offset_ms
from underlid.timeline import HOUR_MS

BREAD = Feed((Portion("bread", 2500.0),))
BEGINS_MS = day_offset_ms("tansy")
NOW_MS = START_MS + 240 * HOUR_MS + (BEGINS_MS - START_MS) % HOUR_MS


def bed(hour: float) -> dict[str, float]:
    day = math.sin(2 * math.pi * hour / 24)
    return {
        "bed_temp_c": 19 + day,
        "headspace_temp_c": 18.5 + day,
        "headspace_rh_pct": 92.0,
        "soil_raw": 1750.0,
    }


def air(hour: float) -> dict[str, float]:
    return {"shed_temp_c": 17 + 2 * math.sin(2 * math.pi * hour / 24)}


@pytest.fixture
def judge() -> Judge:
    made = Judge(setup(), START_MS)
    made.add_readings(readings(bed, air, 241, 10))
    made.judge(NOW_MS)
    return made


def asked(judge: Judge, feed: Feed | None) -> WhatIf:
    found = judge.ask(
        "tansy",
        lambda window, memory: what_if(window, memory.film, memory.outlook.drying, BEGINS_MS, feed),
    )
    assert found is not None
    return found


def test_a_feed_that_is_asked_about_does_what_a_written_one_is_foreseen_to_do(judge: Judge) -> None:
    before = judge.forecast("tansy")
    found = asked(judge, BREAD)
    assert judge.forecast("tansy") is before
    hours = (NOW_MS - START_MS) / HOUR_MS
    judge.set_entries("tansy", [entry(hours, BREAD)])
    judge.judge(NOW_MS)
    written = judge.forecast("tansy")
    assert written is not None
    assert written.bed_temp_c is not None
    assert found.forecast.bed_temp_c is not None
    assert np.allclose(found.forecast.bed_temp_c.middle, written.bed_temp_c.middle, atol=0.3)
    for limit, chances in written.hot_chance.items():
        assert found.forecast.hot_chance[limit][-1] == pytest.approx(chances[-1], abs=0.05)


def test_a_rich_feed_warms_the_bed_and_is_eaten_later_than_a_small_one(judge: Judge) -> None:
    none, little, much = (
        asked(judge, feed) for feed in (None, Feed((Portion("melon", 300.0),)), BREAD)
    )
    assert none.food is None
    assert little.food is not None
    assert much.food is not None
    assert little.food.used_up_ms is not None
    assert much.food.used_up_ms is not None
    assert little.food.used_up_ms < much.food.used_up_ms
    warmest = [
        float(one.forecast.bed_temp_c.middle.max()) if one.forecast.bed_temp_c else math.nan
        for one in (none, little, much)
    ]
    assert warmest[0] <= warmest[1] < warmest[2]
    assert much.bed == none.bed


def test_nothing_is_said_of_a_bin_that_was_not_judged() -> None:
    assert Judge(setup(), START_MS).ask("tansy", lambda window, memory: 1) is None
