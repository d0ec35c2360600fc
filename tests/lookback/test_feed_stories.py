"""Feed stories: where one ends, its own warmth, its water and its moisture."""

from __future__ import annotations

import numpy as np
import pytest

from underlid.alerts.alert import Spell
from underlid.journal.entries import Climbers, Entry, Feed, Portion, Sighting, What
from underlid.lookback.feed_stories import LEAD_H, STORY_MS, Columns, feed_story, stretches
from underlid.rules.finding import Condition
from underlid.science.numeric import Floats
from underlid.timeline import DAY_MS, HOUR_MS

FED_MS = 1_781_200_000_000
MELON = Feed((Portion("melon", 1000.0),), 200.0, (Portion("newspaper", 80.0),))
HOURS = LEAD_H + STORY_MS // HOUR_MS
SINCE_H = np.arange(HOURS) - LEAD_H


def entry(what: What, at_ms: int, name: str = "e1") -> Entry:
    return Entry(name, "tansy", at_ms, at_ms, what)


def columns(bed: Floats, moisture: Floats | None = None) -> Columns:
    nothing = np.full(HOURS, np.nan)
    return Columns(bed, np.full(HOURS, 15.0), nothing if moisture is None else moisture)


def test_a_story_ends_with_the_next_feed_after_ten_days_or_now() -> None:
    feeds = [entry(MELON, FED_MS + day * DAY_MS, f"e{day}") for day in (0, 3, 20)]
    now_ms = FED_MS + 22 * DAY_MS
    seen = entry(Sighting(climbers=Climbers.FEW), FED_MS + DAY_MS, "seen")
    told = stretches([*feeds, seen], now_ms, 6)
    ends = [(one.id, (until - FED_MS) / DAY_MS) for one, until in told]
    assert ends == [("e20", 22.0), ("e3", 13.0), ("e0", 3.0)]
    assert [one.id for one, _ in stretches(feeds, now_ms, 1)] == ["e20"]


@pytest.mark.parametrize("tau_h", [4.0, 30.0])
def test_a_bed_that_only_follows_its_shed_has_no_warmth_of_its_own(tau_h: float) -> None:
    hours = np.arange(HOURS, dtype=float)
    turn = 2 * np.pi / 24
    gain, lag = 1 / np.hypot(1, turn * tau_h), np.arctan(turn * tau_h)
    bed = 15.0 + 3 * gain * np.sin(turn * hours - lag)
    air = 15.0 + 3 * np.sin(turn * hours)
    story = feed_story(
        entry(MELON, FED_MS),
        FED_MS + STORY_MS,
        Columns(bed, air, np.full(HOURS, np.nan)),
        tau_h,
        [],
        [],
    )
    assert story.peak is not None
    assert story.peak[0] < 0.5  # six-hour means lag a little; 3 K of swing are gone
    assert story.moisture_end_pct is None


def test_a_feed_that_warms_the_bed_is_told_by_its_peak_and_its_hour() -> None:
    warmth = 9.0 * np.exp(-(((SINCE_H - 40) / 20.0) ** 2))
    story = feed_story(entry(MELON, FED_MS), FED_MS + STORY_MS, columns(15.0 + warmth), 1.0, [], [])
    assert story.peak is not None
    assert story.peak[0] == pytest.approx(9.0, abs=0.4)
    assert story.peak[1] == pytest.approx(40, abs=2)


def test_moisture_is_counted_from_the_day_before_and_unknown_without_it() -> None:
    moisture = np.where(SINCE_H < 0, 72.0, 75.5)
    bed = np.full(HOURS, 18.0)
    until_ms = FED_MS + 4 * DAY_MS
    story = feed_story(entry(MELON, FED_MS), until_ms, columns(bed, moisture), 5.0, [], [])
    assert len(story.moisture_change_pct) == 4 * 24
    assert story.moisture_end_pct == pytest.approx(3.5)
    moisture[:LEAD_H] = np.nan
    story = feed_story(entry(MELON, FED_MS), until_ms, columns(bed, moisture), 5.0, [], [])
    assert story.moisture_end_pct is None


def test_water_bedding_wet_lid_and_climbers_are_those_of_the_story() -> None:
    until_ms = FED_MS + 3 * DAY_MS

    def spell(begin_h: float, end_h: float | None, water: float | None) -> Spell:
        end = None if end_h is None else FED_MS + round(end_h * HOUR_MS)
        began = FED_MS + round(begin_h * HOUR_MS)
        return Spell("tansy", Condition.CONDENSATION, began, end, water_g_m2=water)

    spells = [spell(-9, -2, 50.0), spell(5, 25, 80.0), spell(60, None, None), spell(90, 99, 7.0)]
    looks = [
        entry(Sighting(climbers=climbers), FED_MS + hour * HOUR_MS, f"s{hour}")
        for hour, climbers in ((-3, Climbers.MANY), (20, Climbers.FEW), (40, Climbers.NONE))
    ]
    bed = np.full(HOURS, 18.0)
    story = feed_story(entry(MELON, FED_MS), until_ms, columns(bed), 5.0, spells, looks)
    assert story.lid_water_g_m2 == 80.0
    assert story.wet_lid_h == pytest.approx(20 + 12)
    assert story.climbers is Climbers.FEW
    assert story.water_g == pytest.approx(920 - 200)
    assert story.bedding_g == 80.0
