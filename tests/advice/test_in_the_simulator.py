"""Advised water and bedding bring a simulated bed to within 2 % points of its target.

The simulated bins differ from what the judgement assumes: build, food, soil probe and what the keeper
told of the bed are drawn anew for each number.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from underlid.binmodel.bins import BinKind
from underlid.journal.entries import BeddingAdded, LiquidAdded, Portion
from underlid.replay import replay
from underlid.rules.finding import Advice, Condition
from underlid.simulate.deeds import apply
from underlid.simulate.headspace import Around, saturated_kg_m3
from underlid.simulate.physics import PhysicalBin
from underlid.simulate.sketch import Sketch, sketch
from underlid.timeline import DAY_MS, MINUTE_MS

WITHIN_PCT = 2.0
DAYS = 3.0


def advised(case: Sketch, condition: Condition, act: str) -> tuple[PhysicalBin, Advice]:
    """Return the bed at the moment the alert is raised, and what it advises."""
    place = case.place()
    stretch = place.run(case.end_ms)
    for judgement in replay(place.setup, stretch.readings, stretch.entries, tick_ms=15 * MINUTE_MS):
        for change in judgement.transitions:
            if change.alert is not None and change.condition is condition:
                bed = next(bed for at_ms, bed in stretch.kept if at_ms >= judgement.at_ms)
                return bed, next(one for one in change.alert.advice if one.act == act)
    raise AssertionError("no alert")


def drawn(number: int, kind: BinKind, moisture_pct: float) -> Sketch:
    """Return a bin with so much moisture, and with two weighed samples on both sides of it."""
    case = sketch("advice", number, DAYS, kind=kind)
    true = (62.0, 76.0) if moisture_pct < 70.0 else (76.0, 87.0)
    points = tuple((round(case.soil.index(one), 4), one + 0.3) for one in true)
    return replace(case, moisture_pct=moisture_pct, soil_points=points, every_ms=5 * MINUTE_MS)


def wait(bed: PhysicalBin, days: float) -> None:
    for _ in range(round(days * 576)):
        bed.step(150.0, Around(18.0, 0.62 * saturated_kg_m3(18.0)))


@pytest.mark.parametrize(
    ("number", "kind"),
    [(1, BinKind.FLOW_THROUGH_BAG), (2, BinKind.WOODEN_BOX), (3, BinKind.TRAY_STACK)],
)
def test_a_dry_bed_that_gets_the_advised_water_is_at_its_target(number: int, kind: BinKind) -> None:
    case = drawn(number, kind, 62.5)
    bed, advice = advised(case, Condition.DRYING_OUT, "add-water")
    days = int(advice.values["portions"])
    for _ in range(days):
        apply(bed, LiquidAdded((advice.amount_ml or 0.0) / days))
        wait(bed, 1.0)
    assert bed.moisture_pct == pytest.approx(case.bin.target_moisture_pct, abs=WITHIN_PCT)


@pytest.mark.parametrize(
    ("number", "kind", "bedding"),
    [
        (4, BinKind.PLASTIC_TOTE, "newspaper"),
        (5, BinKind.PLASTIC_TOTE, "coir"),
        (6, BinKind.PLASTIC_TOTE, "dry-leaves"),
    ],
)
def test_a_wet_bed_that_gets_the_advised_bedding_is_at_its_target(
    number: int, kind: BinKind, bedding: str
) -> None:
    case = drawn(number, kind, 77.0)
    case = replace(case, bin=replace(case.bin, bedding=bedding), days=DAYS + 1.0)
    poured_g = 1000.0 * case.bin.bed_kg * 0.23 * (86.8 / 13.2 - 77.0 / 23.0)
    case.do(1.0, {"kind": "water", "mass_g": round(poured_g)})
    bed, advice = advised(case, Condition.TOO_WET, "add-bedding")
    apply(bed, BeddingAdded((Portion(bedding, advice.amount_g or 0.0),)))
    wait(bed, 2.0)
    assert bed.moisture_pct == pytest.approx(case.bin.target_moisture_pct, abs=WITHIN_PCT)


def test_a_case_is_long_enough_for_its_delays() -> None:
    assert sketch("advice", 1, DAYS).end_ms - sketch("advice", 1, DAYS).start_ms == 3 * DAY_MS
