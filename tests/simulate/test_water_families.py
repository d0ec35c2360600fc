"""The families about water: what dries, what drowns, what comes in unseen."""

from __future__ import annotations

from dataclasses import replace

from underlid.journal.entries import LiquidAdded
from underlid.simulate.families.water import dry_and_watered, dry_room, flooded, wet_bed
from underlid.simulate.place import RAIN, Act
from underlid.simulate.sketch import BIN, Sketch


def rains(case: Sketch) -> list[Act]:
    return [act for act in case.acts if act.fields["kind"] == RAIN]


def test_rain_wets_the_bed_and_nobody_writes_it_down() -> None:
    case = replace(dry_room(1), acts=[], days=1.0)
    dry = case.place().run(case.end_ms).truths[-1].values["moisture_pct"]
    case.do(0.1, {"kind": RAIN, "mass_g": 2000.0})
    stretch = case.place().run(case.end_ms)
    assert stretch.entries == []
    assert stretch.truths[-1].values["moisture_pct"] > dry + 1.0


def test_a_flooded_bin_keeps_what_comes_in_and_some_get_it_unseen() -> None:
    cases = [flooded(number) for number in range(1, 13)]
    assert not any(case.build.drains for case in cases)
    unseen = [case for case in cases if rains(case)]
    assert 2 <= len(unseen) <= 10
    hours = [(act.at_ms - unseen[0].start_ms) / 3_600_000 for act in rains(unseen[0])]
    assert max(hours) - min(hours) > 2.0


def test_a_dry_room_takes_water_out_of_a_bed_that_is_watered_too_little() -> None:
    case = replace(dry_and_watered(3), days=8.0)
    stretch = case.place().run(case.end_ms)
    assert case.climate.rh_pct < 46.0
    assert any(isinstance(one.what, LiquidAdded) for one in stretch.entries) or rains(case)
    drawn = [dry_room(number).bin.bed_kg for number in range(1, 9)]
    assert min(drawn) < 0.6 * max(drawn)
    assert stretch.truths[-1].values["moisture_pct"] < stretch.truths[0].values["moisture_pct"]


def test_a_wet_bed_gets_juicy_feeds_until_its_air_runs_out() -> None:
    case = replace(wet_bed(103), days=8.0)
    bed = case.place().bins[BIN]
    stretch = case.place().run(case.end_ms)
    assert bed.air_share > min(one.values["air_share"] for one in stretch.truths) + 0.05
