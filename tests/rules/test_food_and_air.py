"""When a herd is called hungry and a bed sour: by what was fed, eaten, seen, smelt and measured."""

from __future__ import annotations

import pytest

from judge.series import START_MS, Curve, entry, readings, setup
from rules.said import CLEAR, HOLDS, UNKNOWN, air_of, said
from underlid.journal.entries import (
    Climbers,
    Entry,
    Feed,
    LiquidAdded,
    Portion,
    Sighting,
    Smell,
)
from underlid.judge import Judge
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.timeline import DAY_MS


def said_after(
    condition: Condition,
    days: float,
    *entries: Entry,
    bed_c: float | None = 20.0,
    moisture_pct: float | None = 75.0,
    density: float = 0.15,
) -> Finding:
    """Return the finding after so many days of one temperature and one moisture."""
    values: dict[str, float] = {}
    if bed_c is not None:
        values["bed_temp_c"] = bed_c
    if moisture_pct is not None:
        index = 0.40 + (moisture_pct - 62.0) / 16.0 * 0.22
        values["soil_raw"] = 2750.0 - 1600.0 * index
    curve: Curve = lambda _: dict(values) or None  # noqa: E731
    place = setup(dry_density_kg_l=density)
    return said(condition, curve, air_of(bed_c or 20.0), 24 * days, entries, place, every_min=10)


def fed(
    day: float, mass_g: float = 800.0, food: str = "vegetable-scraps", number: int = 1
) -> Entry:
    return entry(24 * day, Feed((Portion(food, mass_g),)), number)


def seen(day: float, number: int = 9, **what: object) -> Entry:
    return entry(24 * day, Sighting(**what), number)  # type: ignore[arg-type]


# -- hungry --------------------------------------------------------------------------------------


def test_a_keeper_who_writes_no_feeds_is_not_nagged() -> None:
    found = said_after(Condition.HUNGRY, 3, entry(10, LiquidAdded(300.0)))
    assert (found.verdict, bool(found.reason)) == (UNKNOWN, True)


def test_a_feed_that_is_used_up_leaves_a_hungry_herd_first_low_then_medium() -> None:
    # at 20 °C rotted to a tenth in 7.0 days, or eaten in 3.4, four chances in ten: even after 5.8
    even = said_after(Condition.HUNGRY, 7.0, fed(1))
    assert even.verdict is CLEAR
    assert float(even.evidence["chance_pct"]) == pytest.approx(53.0, abs=3.0)
    just = said_after(Condition.HUNGRY, 7.6, fed(1))
    assert (just.verdict, just.priority, just.forecast_for_ms) == (HOLDS, Priority.LOW, None)
    assert float(just.evidence["chance_pct"]) == pytest.approx(61.0, abs=3.0)
    assert just.evidence["used_up_soonest_at"] < just.evidence["used_up_at"]  # type: ignore[operator]
    soon = said_after(Condition.HUNGRY, 9.5, fed(1))
    assert (soon.verdict, soon.priority, soon.forecast_for_ms) == (HOLDS, Priority.LOW, None)
    assert soon.certainty > 0.7
    assert soon.feed_at_ms == fed(1).at_ms
    assert "uneaten_g" not in soon.evidence
    late = said_after(Condition.HUNGRY, 12.5, fed(1))
    assert (late.verdict, late.priority) == (HOLDS, Priority.MEDIUM)
    assert said_after(Condition.HUNGRY, 12.5, fed(1), fed(11, number=2)).verdict is CLEAR


def test_a_hungry_herd_waits_while_its_bed_is_sour() -> None:
    fed_at_most = said_after(Condition.HUNGRY, 9.5, fed(1)).advice
    assert [one.act for one in fed_at_most] == ["feed-at-most"]
    waits = said_after(Condition.HUNGRY, 9.5, fed(1), seen(9, smell=Smell.SOUR)).advice
    assert [one.act for one in waits] == ["hold-feeding"]
    assert "air" in waits[0].text


def test_hunger_is_foreseen_only_when_the_keeper_is_late_by_the_own_habit() -> None:
    every_four = (fed(0), fed(4, number=2))
    ahead = said_after(Condition.HUNGRY, 9.5, *every_four)
    assert ahead.verdict is HOLDS
    # as likely as not after 5.8 days
    assert ahead.forecast_for_ms == pytest.approx(START_MS + 9.8 * DAY_MS, abs=0.3 * DAY_MS)
    assert said_after(Condition.HUNGRY, 8.5, *every_four).verdict is CLEAR
    every_week = (fed(0), fed(7, number=2))
    assert said_after(Condition.HUNGRY, 12.7, *every_week).verdict is CLEAR


def test_a_keeper_who_saw_it_gone_is_reminded_after_the_own_habit() -> None:
    gone = seen(3, used_up=True)
    habit = (fed(0, number=2), fed(2))
    assert said_after(Condition.HUNGRY, 5.5, *habit, gone).verdict is CLEAR
    found = said_after(Condition.HUNGRY, 6.5, *habit, gone)
    assert (found.verdict, found.reason) == (HOLDS, "seen used up")
    assert found.forecast_for_ms is None
    assert "chance_pct" not in found.evidence
    still = said_after(Condition.HUNGRY, 9.1, fed(1), seen(9, used_up=False))
    # seen after 8 days: half of what is left of the spread, 7.0 · exp(0.25 · 1.04), is over after 9.1
    assert still.forecast_for_ms == pytest.approx(START_MS + 10.1 * DAY_MS, abs=0.2 * DAY_MS)


def test_climbers_make_it_medium_at_once_and_are_named() -> None:
    found = said_after(Condition.HUNGRY, 9.5, fed(1), seen(9, climbers=Climbers.MANY))
    assert (found.priority, found.cause) == (Priority.MEDIUM, "climbers")
    old = said_after(Condition.HUNGRY, 9.5, fed(1), seen(5, climbers=Climbers.MANY))
    assert (old.priority, old.cause) == (Priority.LOW, "")


def test_a_cold_herd_is_not_hungry_and_a_warm_bed_still_has_food() -> None:
    assert said_after(Condition.HUNGRY, 12, fed(1), bed_c=4.0).verdict is CLEAR
    judge = Judge(setup(), START_MS)
    judge.set_entries("tansy", [fed(1)])
    curves = readings(lambda _: {"bed_temp_c": 24.0}, lambda _: {"shed_temp_c": 20.0}, 240, 10)
    judge.add_readings(curves)
    findings = judge.judge(START_MS + 10 * DAY_MS)[0].findings
    found = next(one for one in findings if one.condition is Condition.HUNGRY)
    assert (found.verdict, found.reason) == (CLEAR, "the bed still warms itself, so food is left")


# -- sour ----------------------------------------------------------------------------------------


JUICY = fed(1, 1500.0, "melon")


@pytest.mark.parametrize(
    ("density", "moisture_pct", "verdict"),
    [  # computed: air = 1 − ρ/1.55 − ρ M/(1 − M); 0.30 at 80.1 % for 0.15 kg/L, 83.4 for 0.12
        (0.15, 78.0, CLEAR),
        (0.15, 81.5, HOLDS),
        (0.12, 81.5, CLEAR),
        (0.12, 84.5, HOLDS),
    ],
)
def test_the_moisture_at_which_air_runs_out_depends_on_the_density(
    density: float, moisture_pct: float, verdict: Verdict
) -> None:
    found = said_after(Condition.SOUR, 3, JUICY, moisture_pct=moisture_pct, density=density)
    assert found.verdict is verdict
    if verdict is HOLDS:
        assert (found.cause, found.feed_at_ms) == ("feed", JUICY.at_ms)
        assert float(found.evidence["air_filled_porosity_sd"]) > 0.05
        assert 0.4 <= found.certainty <= 0.95
        assert found.evidence["chance_pct"] == pytest.approx(100.0 * found.certainty, abs=1.0)


def test_without_a_wet_feed_little_air_is_not_called_sour() -> None:
    assert said_after(Condition.SOUR, 3, moisture_pct=82.0).verdict is CLEAR
    assert (
        said_after(Condition.SOUR, 3, fed(1, 1500.0, "bread"), moisture_pct=82.0).verdict is CLEAR
    )
    assert said_after(Condition.SOUR, 3, fed(1, 300.0, "melon"), moisture_pct=82.0).verdict is CLEAR
    assert said_after(Condition.SOUR, 10, JUICY, moisture_pct=82.0).verdict is CLEAR


@pytest.mark.parametrize("smell", [Smell.EARTHY, Smell.NONE])
def test_a_bed_that_smells_well_must_be_surer_of_too_little_air(smell: Smell) -> None:
    well = seen(2.5, smell=smell)
    by_probe = said_after(Condition.SOUR, 3, JUICY, moisture_pct=79.8)
    smelt = said_after(Condition.SOUR, 3, JUICY, well, moisture_pct=79.8)
    assert (by_probe.verdict, smelt.verdict) == (HOLDS, CLEAR)
    assert float(smelt.evidence["chance_pct"]) < float(by_probe.evidence["chance_pct"]) - 5.0
    assert said_after(Condition.SOUR, 3, JUICY, well, moisture_pct=82.0).verdict is HOLDS
    assert said_after(Condition.SOUR, 6, JUICY, well, moisture_pct=79.8).verdict is HOLDS


def test_where_the_wet_limit_is_reached_too_wet_speaks_unless_it_smells() -> None:
    wet = said_after(Condition.SOUR, 3, JUICY, moisture_pct=87.0)
    assert (wet.verdict, wet.reason) == (CLEAR, "the wet limit is reached: told as too wet")
    assert said_after(Condition.TOO_WET, 3, JUICY, moisture_pct=87.0).verdict is HOLDS
    smells = said_after(Condition.SOUR, 3, JUICY, seen(2.5, smell=Smell.SOUR), moisture_pct=87.0)
    assert (smells.verdict, smells.priority) == (HOLDS, Priority.HIGH)


@pytest.mark.parametrize("smell", [Smell.SOUR, Smell.AMMONIA])
def test_a_smell_is_believed_without_a_soil_probe(smell: Smell) -> None:
    found = said_after(Condition.SOUR, 3, seen(2.5, smell=smell), moisture_pct=None)
    assert (found.verdict, found.priority, found.cause) == (HOLDS, Priority.MEDIUM, "smell")
    assert found.certainty >= 0.85
    later = seen(2.8, 10, smell=Smell.EARTHY)
    assert (
        said_after(Condition.SOUR, 3, seen(2.5, smell=smell), later, moisture_pct=None).verdict
        is CLEAR
    )
    assert (
        said_after(Condition.SOUR, 6, seen(2.5, smell=smell), moisture_pct=None).verdict is UNKNOWN
    )


def test_without_soil_probe_and_nose_it_is_unknown() -> None:
    found = said_after(Condition.SOUR, 3, JUICY, moisture_pct=None)
    assert (found.verdict, bool(found.reason)) == (UNKNOWN, True)
