"""Drawn bins and their keepers: visits open the lid, samples are weighed, beds are tended."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from underlid.journal.entries import BeddingAdded, LiquidAdded, Sighting
from underlid.simulate.families.calm import quiet_month
from underlid.simulate.families.events import over_watering, slow_drying
from underlid.simulate.headspace import Around, saturated_kg_m3
from underlid.simulate.physics import PhysicalBin
from underlid.simulate.place import TEND, WEIGH
from underlid.simulate.sketch import Sketch
from underlid.simulate.soil import USUAL_SOIL
from underlid.simulate.weather_files import PIEDMONT, have_records, shed_air
from underlid.timeline import HOUR_MS


def alone(*acts: tuple[float, dict[str, object], float], moisture_pct: float = 75.0) -> Sketch:
    """Return a quiet month of two days in which only *acts* are done."""
    case = replace(quiet_month(3), days=2.0, acts=[], moisture_pct=moisture_pct)
    for day, fields, wrong in acts:
        case.do(day, fields, wrong)
    return case


def test_an_open_lid_lets_the_headspace_become_shed_air() -> None:
    case = alone()
    bed = case.bed(20.0)
    around = Around(15.0, 0.5 * saturated_kg_m3(15.0))
    for _ in range(120):
        bed.step(60.0, around)
    closed = bed.rh_pct
    bed.open_s = 600.0
    for _ in range(10):
        bed.step(60.0, around)
    assert bed.rh_pct < closed - 15.0
    assert bed.open_s == 0.0
    bed.step(60.0, around)
    assert bed.rh_pct > closed - 10.0


def test_a_sample_is_weighed_with_its_error_and_written_down_later() -> None:
    case = alone((0.5, {"kind": WEIGH}, 1.5))
    case.acts[0] = replace(case.acts[0], known_after_ms=2 * HOUR_MS)
    (entry,) = case.place().run(case.end_ms).entries
    assert isinstance(entry.what, Sighting)
    assert entry.what.moisture_pct == pytest.approx(76.5, abs=0.4)
    assert entry.known_at_ms == entry.at_ms + 2 * HOUR_MS


@pytest.mark.parametrize(
    ("moisture_pct", "kind"), [(66.0, LiquidAdded), (75.0, None), (84.0, BeddingAdded)]
)
def test_a_keeper_gives_what_the_handful_lacks(moisture_pct: float, kind: type | None) -> None:
    case = alone((0.5, {"kind": TEND}, 0.0), moisture_pct=moisture_pct)
    entries = case.place().run(case.end_ms).entries
    assert [type(entry.what) for entry in entries] == ([kind] if kind else [])


def test_copies_are_kept_and_move_on_by_themselves() -> None:
    case = alone()
    stretch = case.place().run(case.end_ms)
    assert len(stretch.kept) == 48
    at_ms, bed = stretch.kept[10]
    assert at_ms == case.start_ms + 10 * HOUR_MS
    twin = bed.copy()
    twin.step(600.0, Around(30.0, 0.01))
    assert twin.bed_c != bed.bed_c
    assert twin.account.water_out_as_vapour_kg != bed.account.water_out_as_vapour_kg


def test_what_the_keeper_told_is_not_what_is() -> None:
    case = quiet_month(5)
    bed: PhysicalBin = case.bed(18.0)
    assert bed.bin.bed_kg != case.bin.bed_kg
    assert bed.bin.bed_kg == pytest.approx(case.bin.bed_kg, rel=0.11)
    assert case.soil != USUAL_SOIL


def test_dry_air_dries_and_pouring_wets() -> None:
    dry = slow_drying(7)
    courses = dry.place().run(dry.end_ms).truths
    assert courses[-1].values["moisture_pct"] < courses[0].values["moisture_pct"] - 2.0
    wet = over_watering(2)
    courses = wet.place().run(wet.at_ms(9.0)).truths
    assert max(one.values["moisture_pct"] for one in courses) > 79.0


@pytest.mark.skipif(not have_records(), reason="pvlib is not installed")
def test_a_building_holds_the_weather_back() -> None:
    case = quiet_month(1)
    air = shed_air(PIEDMONT, case.draw, 0, (0, 10))
    hours = [air.at(hour * HOUR_MS) for hour in range(20 * 24)]
    assert max(abs(b.temp_c - a.temp_c) for a, b in pairwise(hours)) < 4.0
    assert all(0.0 < one.vapour_kg_m3 <= saturated_kg_m3(one.temp_c) + 1e-9 for one in hours)
