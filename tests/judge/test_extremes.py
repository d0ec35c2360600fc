"""What working sensors can say and keepers may write down never stops a judgement, however odd it is."""

from __future__ import annotations

import json
import random
import re
from dataclasses import replace

import pytest

from judge.series import START_MS, Curve, entry, readings, run, setup
from underlid.binmodel.bins import BinKind, Setup
from underlid.binmodel.probes.hot import STEP_OF
from underlid.journal.entries import (
    BeddingAdded,
    Entry,
    Feed,
    Harvest,
    LidLook,
    LiquidAdded,
    Moved,
    Portion,
    Sighting,
    Smell,
    Squeeze,
    What,
    Worms,
)
from underlid.journal.feedstocks import FEEDSTOCKS
from underlid.judge import Judge
from underlid.readings.channels import CHANNELS
from underlid.timeline import HOUR_MS, MINUTE_MS

HOURS = 60
MASSES_G = (0.0, 1.0, 800.0, 60_000.0)

NAMES_SOURCE = re.compile(r"Source: |[Cc]ommon practice|our judgement|Rosso 1993")


def air(_: float) -> dict[str, float]:
    return {"shed_temp_c": 18.0, "shed_rh_pct": 60.0}


def judged(
    place: Setup, curve: Curve, entries: list[Entry] | None = None, around: Curve = air
) -> Judge:
    """Judge every half hour; what is told and shown must hold no NaN and no infinity."""
    judge = Judge(place, START_MS, tick_ms=30 * MINUTE_MS)
    judge.set_entries("tansy", entries or [])
    for one in run(judge, readings(curve, around, HOURS, 15), HOURS):
        for told in (*one.findings, *one.alerts):
            json.dumps([told.evidence, told.certainty], allow_nan=False)
            for advice in told.advice:
                assert NAMES_SOURCE.search(advice.working), advice
    json.dumps(judge.state("tansy"), allow_nan=False)
    judge.derived("tansy")
    return judge


def constant(rng: random.Random, channel: str) -> float:
    """Return an end of what a working sensor can say, or something between."""
    low, high = CHANNELS[channel].low, CHANNELS[channel].high
    return rng.choice([low, high, rng.uniform(low, high)])


def deed(rng: random.Random) -> What:
    portions = (Portion(rng.choice([*FEEDSTOCKS, "gone"]), rng.choice(MASSES_G)),)
    drained_g = rng.choice([0.0, portions[0].mass_g])
    deeds: list[What] = [
        Feed(portions, drained_g),
        BeddingAdded(portions),
        LiquidAdded(portions[0].mass_g),
        Harvest(portions[0].mass_g),
        Worms(-portions[0].mass_g),
        Moved(),
        Sighting(lid=rng.choice(list(LidLook)), used_up=rng.random() < 0.5),
        Sighting(moisture_pct=rng.choice([0.0, 100.0, 75.0])),
        Sighting(squeeze=rng.choice(list(Squeeze)), smell=rng.choice(list(Smell))),
    ]
    return rng.choice(deeds)


@pytest.mark.parametrize("draw", range(12))
def test_no_believable_reading_and_no_entry_stops_a_judgement(draw: int) -> None:
    rng = random.Random(draw)
    channels = [name for name in STEP_OF if not name.startswith("shed_") and rng.random() < 0.7]
    before, after = ({name: constant(rng, name) for name in channels} for _ in range(2))
    turns_h = rng.uniform(6.0, HOURS)
    place = setup(
        kind=rng.choice(list(BinKind)),
        herd_kg=rng.choice([0.0, 1.0, 50.0]),
        bed_kg=rng.choice([0.1, 22.0, 900.0]),
        dry_density_kg_l=rng.choice([0.05, 0.15, 0.9]),
    )
    entries = [
        entry(at_h, deed(rng), number)
        for number, at_h in enumerate(sorted(rng.uniform(-24, HOURS) for _ in range(8)))
    ]
    judged(place, lambda hour: before if hour < turns_h else after, entries)


def test_a_probe_that_says_all_water_is_judged_when_the_bed_is_watered() -> None:
    said = {"bed_temp_c": 20.0, "moisture_pct": 100.0}
    state = judged(setup(), lambda _: said, [entry(40, LiquidAdded(1500.0))]).state("tansy")
    assert state is not None
    assert state["judged_at"]


def test_a_bed_without_worms_that_smells_sour_is_not_asked_what_they_eat() -> None:
    feed = entry(20, Feed((Portion("bread", 3000.0),)))
    smell = replace(entry(30, Sighting(smell=Smell.SOUR)), id="smell")
    judge = judged(setup(herd_kg=0.0), lambda _: {"bed_temp_c": 20.0}, [feed, smell])
    verdicts = judge.judge(START_MS + (HOURS + 1) * HOUR_MS)[0].findings
    sour = next(one for one in verdicts if one.condition == "sour")
    assert [one.act for one in sour.advice][-1] == "hold-feeding"


def test_a_headspace_far_from_its_bed_makes_no_shed_colder_than_cold() -> None:
    said = {"bed_temp_c": 59.0, "headspace_temp_c": -19.0, "headspace_rh_pct": 40.0}
    state = judged(setup(), lambda _: said, around=lambda _: None).state("tansy")
    assert state is not None
    assert state["judged_at"]


def test_a_soil_probe_beyond_its_wet_end_says_all_water_and_no_more() -> None:
    state = judged(setup(), lambda _: {"bed_temp_c": 20.0, "soil_raw": 900.0}).state("tansy")
    assert state is not None
    now = state["now"]
    assert isinstance(now, dict)
    assert now["moisture_pct"] == 100.0
