"""What must not matter: how often a probe sends, whether a calibration came late, what else is new."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from binmodel import faulty
from judge.series import START_MS, Curve, changes, melon, readings, setup
from underlid.alerts.alert import Spell
from underlid.binmodel.bins import Calibration, Setup
from underlid.journal.entries import Entry, Sighting
from underlid.judge import Judge
from underlid.readings.values import Reading
from underlid.rules.finding import Condition
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

HOURS = 96


def troubled(hour: float) -> dict[str, float]:
    """Return a bin whose bed heats after a feed while its lid gets wet, then dries."""
    own = 9.0 * math.exp(-(((hour - 40.0) / 14.0) ** 2))
    wet = min(1.0, max(0.0, min((hour - 18.0) / 5.0, (74.0 - hour) / 5.0)))
    return {
        "bed_temp_c": 20.5 + own,
        "headspace_temp_c": 19.6 + 0.5 * own,
        "headspace_rh_pct": 78.0 + 19.0 * wet + 0.7 * math.sin(hour),
        "soil_raw": 1760.0,
    }


def frosty(hour: float) -> dict[str, float]:
    """Return a bin that goes through a cold night and a warm day, by the hour."""
    wave = math.sin(2 * math.pi * (hour - 6) / 48.0)
    return {"bed_temp_c": 10.4 + 4.0 * wave, "headspace_temp_c": 10.0 + wave}


def parched(hour: float) -> dict[str, float]:
    """Return a bin at 60 % moisture that is watered to 75 %."""
    soil_raw = 2155.0 if hour < 40.3 else 1825.0
    return {"bed_temp_c": 19.0, "headspace_temp_c": 18.7, "soil_raw": soil_raw}


def air(hour: float) -> dict[str, float]:
    return {"shed_temp_c": 18.0 + 1.5 * math.sin(2 * math.pi * hour / 24.0)}


def spells(bin_curve: Curve, step_min: int) -> list[Spell]:
    """Return the spells that ended, as told by probes that send every *step_min* minutes."""
    made = readings(bin_curve, air, HOURS, step_min)
    found = changes(made, HOURS, [melon(14)])
    return [one.spell for one in found if one.spell and one.spell.ended_ms is not None]


@pytest.mark.parametrize(
    ("curve", "conditions"),
    [
        (troubled, {Condition.CONDENSATION, Condition.OVERHEATING}),
        (frosty, {Condition.TOO_COLD}),
        (parched, {Condition.DRYING_OUT}),
    ],
)
def test_sending_every_15_minutes_moves_no_spell_by_more_than_one_interval(
    curve: Curve, conditions: set[Condition]
) -> None:
    often = spells(curve, 1)
    assert {one.condition for one in often} == conditions
    for step_min in (5, 15):
        seldom = spells(curve, step_min)
        assert [one.condition for one in seldom] == [one.condition for one in often]
        for one, other in zip(often, seldom, strict=True):
            moved_ms = abs(one.began_ms - other.began_ms)
            assert moved_ms <= step_min * MINUTE_MS, (one.condition, step_min)
            assert abs((one.ended_ms or 0) - (other.ended_ms or 0)) <= step_min * MINUTE_MS


OFFSETS = (
    Calibration("bed_temp_c", 1.0, -0.6),
    Calibration("headspace_rh_pct", 1.05, -3.0),
)


def test_a_calibration_applied_later_equals_one_applied_at_ingest() -> None:
    made = readings(troubled, air, 60)
    raw = setup()
    place = replace(raw.probes["tansy-1"], calibrations=OFFSETS)
    calibrated = Setup(raw.sheds, raw.bins, raw.probes | {"tansy-1": place})
    now_ms = START_MS + 60 * HOUR_MS
    later = Judge(raw, START_MS)
    later.set_entries("tansy", [melon(14)])
    later.add_readings(made)
    later.judge(now_ms - 10 * MINUTE_MS)
    later.set_setup(calibrated, now_ms)
    at_once = Judge(raw, START_MS)
    at_once.set_entries("tansy", [melon(14)])
    at_once.add_readings(_calibrated(made))
    one, other = later.judge(now_ms), at_once.judge(now_ms)
    assert [found.verdict for found in one[0].findings] == [
        found.verdict for found in other[0].findings
    ]
    for found, same in zip(one[0].findings, other[0].findings, strict=True):
        assert found.evidence.keys() == same.evidence.keys()
        for name, value in found.evidence.items():
            if isinstance(value, float):  # rounded as shown; means of raw values go by 1/256
                assert value == pytest.approx(same.evidence[name], rel=0.02, abs=0.06), name
    first, second = later.derived("tansy"), at_once.derived("tansy")
    assert first is not None
    assert second is not None
    for name, values in first.series.items():
        np.testing.assert_allclose(values, second.series[name], atol=0.05, err_msg=name)


def _calibrated(made: list[Reading]) -> list[Reading]:
    lines = {one.channel: one for one in OFFSETS}
    return [
        Reading(
            one.probe,
            one.shed,
            one.taken_at_ms,
            one.received_at_ms,
            {
                name: lines[name].gain * value + lines[name].offset
                if one.probe == "tansy-1" and name in lines
                else value
                for name, value in one.values.items()
            },
        )
        for one in made
    ]


@pytest.mark.parametrize("news", ["an entry", "another bin"])
def test_a_drift_that_is_over_is_not_told_again_when_something_else_is_new(news: str) -> None:
    """The window then begins amid the drift: alone it would make the days after look like a fault."""

    def drifting(hours: faulty.Floats, values: faulty.Floats) -> faulty.Floats:
        out: faulty.Floats = values + np.where((hours >= 216) & (hours < 360), hours / 24 - 9, 0.0)
        return out

    queue = faulty.healthy(24, 15).change("bed_temp_c", drifting).readings()
    judge = Judge(setup(), faulty.START_MS)
    told, place = [], 0
    for hour in (*range(0, 552, 6), *range(552, 576)):
        now_ms = faulty.START_MS + hour * HOUR_MS
        before = place
        while place < len(queue) and queue[place].taken_at_ms <= now_ms:
            place += 1
        judge.add_readings(queue[before:place])
        if hour == 552 and news == "an entry":
            judge.set_entries("tansy", [Entry("e", "tansy", now_ms - HOUR_MS, now_ms, Sighting())])
        elif hour == 552:
            whole = setup()
            other = replace(whole.bins["tansy"], id="yarrow")
            judge.set_setup(replace(whole, bins=whole.bins | {"yarrow": other}), now_ms)
        told += [
            (one.kind.value, one.alert.cause, (now_ms - faulty.START_MS) // DAY_MS)
            for each in judge.judge(now_ms)
            for one in each.transitions
            if one.alert and one.alert.subject == "tansy-1"
        ]
    assert told == [("alert_raised", "drift", 11), ("alert_returned", "drift", 15)]
