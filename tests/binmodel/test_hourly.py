"""What is found out once an hour: each part at its moment, and the same after a restart."""

from __future__ import annotations

import math
from dataclasses import astuple

import numpy as np

from judge.series import START_MS, entry, readings, run, setup
from underlid.binmodel.outlook.hourly import Outlook
from underlid.journal.entries import Feed, Portion
from underlid.judge import Judge
from underlid.timeline import HOUR_MS, MINUTE_MS

UNTIL_H = 98.0
FEED = entry(40.0, Feed((Portion("melon", 1500.0),)))


def bin_curve(hour: float) -> dict[str, float]:
    wave = math.sin(2 * math.pi * hour / 24)
    return {
        "bed_temp_c": 20.0 + 0.7 * wave,
        "headspace_temp_c": 19.4 + wave,
        "headspace_rh_pct": 94.0 - 2.0 * wave,
        "soil_raw": 1760.0 + hour / 4,
    }


def air_curve(hour: float) -> dict[str, float]:
    return {"shed_temp_c": 18.5 + 2.0 * math.sin(2 * math.pi * (hour - 2.0) / 24)}


MADE = readings(bin_curve, air_curve, UNTIL_H + 2.0, 5)


def outlook(judge: Judge) -> Outlook:
    return judge._memories["tansy"].outlook


def flat(value: object) -> list[float]:
    """Return every number in an outlook's part."""
    if isinstance(value, dict):
        return [one for part in value.values() for one in flat(part)]
    if isinstance(value, tuple | list | np.ndarray):
        return [one for part in value for one in flat(part)]
    return [] if value is None else [float(value)]


def numbers(one: Outlook) -> list[list[float]]:
    assert one.drying is not None
    assert one.food is not None
    assert one.forecast is not None
    return [flat(astuple(part)) for part in (one.drying, one.food, one.forecast)]


def test_no_judgement_makes_two_parts() -> None:
    judge = Judge(setup(), START_MS)
    judge.set_entries("tansy", [FEED])
    held = None
    made = []
    for judgement in run(judge, MADE, UNTIL_H):
        one = outlook(judge)
        parts = (one.drying, one.food, one.forecast and one.forecast.bed_temp_c, one._warmth)
        if judgement.at_ms > START_MS + 90 * HOUR_MS and held is not None:
            changed = [part for part, before in zip(parts, held, strict=True) if part is not before]
            # A forecast takes what was held of shed and bed.
            made.append(len(changed) - (parts[3] is None and held[3] is not None))
        held = parts
    # When the bin has been learnt from, once a day, everything is made anew.
    assert sorted(made)[-2] == 1
    assert sum(made) >= 4 * 7


def test_a_judge_that_starts_at_any_moment_of_the_hour_has_the_same_outlook() -> None:
    always = Judge(setup(), START_MS)
    always.set_entries("tansy", [FEED])
    for judgement in run(always, MADE, UNTIL_H):
        if judgement.at_ms < START_MS + round((UNTIL_H - 1.2) * HOUR_MS):
            continue
        late = Judge(setup(), START_MS)
        late.set_entries("tansy", [FEED])
        late.add_readings(one for one in MADE if one.received_at_ms <= judgement.at_ms)
        late.judge(judgement.at_ms)
        assert numbers(outlook(late)) == numbers(outlook(always)), judgement.at_ms


def test_a_feed_is_in_every_part_at_once() -> None:
    judge = Judge(setup(), START_MS)
    for _ in run(judge, MADE, UNTIL_H):
        pass
    before = outlook(judge).forecast
    judge.set_entries("tansy", [entry(UNTIL_H - 1.5, FEED.what)])
    judge.judge(START_MS + round(UNTIL_H * HOUR_MS) + MINUTE_MS)
    after, eaten = outlook(judge).forecast, outlook(judge).food
    assert before is not None
    assert after is not None
    assert before.bed_temp_c is not None
    assert after.bed_temp_c is not None
    assert after.bed_temp_c.middle.max() > before.bed_temp_c.middle.max() + 0.5
    assert eaten is not None
    assert eaten.fed_at_ms == START_MS + round((UNTIL_H - 1.5) * HOUR_MS)
