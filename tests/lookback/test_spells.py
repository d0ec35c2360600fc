"""Spells: when one begins and ends, what it measured, and that a restart does not change it."""

from __future__ import annotations

import pytest

from judge.series import START_MS, Curve, changes, entry, melon, readings, run, setup
from underlid.alerts.alert import Spell, Transition, TransitionKind
from underlid.alerts.policy import DELAYS
from underlid.journal.entries import LidLook, Sighting
from underlid.judge import Judge
from underlid.rules.finding import Condition
from underlid.timeline import HOUR_MS


def air(_hour: float) -> dict[str, float]:
    return {"shed_temp_c": 19.0}


def wet_from_to(begin_h: float, end_h: float) -> Curve:
    def curve(hour: float) -> dict[str, float]:
        wet = begin_h <= hour < end_h
        return {
            "bed_temp_c": 25.0 if wet else 19.5,
            "headspace_temp_c": 24.0 if wet else 19.2,
            "headspace_rh_pct": 98.0 if wet else 75.0,
        }

    return curve


def spells_of(found: list[Transition], kind: TransitionKind) -> list[Spell]:
    return [one.spell for one in found if one.kind is kind and one.spell is not None]


@pytest.mark.parametrize("end_h", [36, 40, 44])
def test_a_wet_spell_ends_with_its_length_its_water_and_its_feed(end_h: int) -> None:
    found = changes(readings(wet_from_to(6, end_h), air, 80), 80, [melon(5)])
    begun = spells_of(found, TransitionKind.SPELL_BEGAN)
    ended = spells_of(found, TransitionKind.SPELL_ENDED)
    assert len(begun) == len(ended) == 1
    spell = ended[0]
    assert spell.condition is Condition.CONDENSATION
    assert spell.began_ms == begun[0].began_ms
    assert spell.ended_ms is not None
    assert spell.feed_at_ms == melon(5).at_ms
    assert spell.grade == "lid_estimate"
    # some 5.8 g/m²h (binmodel/test_lid_and_heat.py), from the spell's begin until the bed has cooled
    hours = end_h - (spell.began_ms - START_MS) / HOUR_MS
    assert spell.water_g_m2 == pytest.approx(5.8 * hours, rel=0.2)
    assert spell.peak == pytest.approx(205.0 - 5.5 * (44 - end_h), rel=0.06)


@pytest.mark.parametrize("begin_h", [6, 9])
@pytest.mark.parametrize("for_h", [30, 34])
def test_a_lid_that_dries_slowly_is_one_spell(begin_h: int, for_h: int) -> None:
    end_h = begin_h + for_h
    made = readings(wet_from_to(begin_h, end_h), air, end_h + 16)
    (spell,) = spells_of(
        changes(made, end_h + 16, [melon(begin_h - 1)]), TransitionKind.SPELL_ENDED
    )
    assert spell.peak is not None
    assert spell.peak > 100.0


def hot_twice(apart_h: float) -> list[Transition]:
    """Return the changes of heat of a bed that is hot for some 4 hours about 20 h, and again later."""

    def bed(hour: float) -> dict[str, float]:
        near_h = min(abs(hour - 20), abs(hour - 20 - apart_h))
        return {"bed_temp_c": 20.0 + max(0.0, 11.0 - 4.0 * near_h)}

    found = changes(readings(bed, air, 40), 40)
    return [one for one in found if one.condition is Condition.OVERHEATING]


def test_what_is_gone_for_less_than_the_off_delay_is_one_spell_and_else_two() -> None:
    (one,) = spells_of(hot_twice(3.0), TransitionKind.SPELL_ENDED)
    assert one.ended_ms is not None
    assert (one.ended_ms - one.began_ms) / HOUR_MS == pytest.approx(5.2, abs=0.3)
    first, second = spells_of(hot_twice(4.0), TransitionKind.SPELL_ENDED)
    assert first.ended_ms is not None
    assert (first.ended_ms - first.began_ms) / HOUR_MS == pytest.approx(2.2, abs=0.3)
    assert second.began_ms - first.ended_ms > DELAYS[Condition.OVERHEATING].off_ms


def test_an_end_is_told_when_it_is_sure_and_dated_when_the_condition_went() -> None:
    (end, _) = [one for one in hot_twice(6.0) if one.kind is TransitionKind.SPELL_ENDED]
    assert end.spell is not None
    assert end.spell.ended_ms is not None
    assert end.at_ms - end.spell.ended_ms == DELAYS[Condition.OVERHEATING].off_ms


def test_a_hot_spell_keeps_its_hottest_value() -> None:
    def bed(hour: float) -> dict[str, float]:
        return {"bed_temp_c": 20.0 + max(0.0, 11.0 - abs(hour - 20))}

    ended = spells_of(changes(readings(bed, air, 60), 60), TransitionKind.SPELL_ENDED)
    assert [one.condition for one in ended] == [Condition.OVERHEATING]
    assert ended[0].peak == pytest.approx(31.0, abs=0.3)
    assert ended[0].water_g_m2 is None


def test_silence_neither_begins_nor_ends_a_spell() -> None:
    def bed(hour: float) -> dict[str, float] | None:
        if 12 < hour < 30:
            return None
        return {"bed_temp_c": 31.0 if hour < 40 else 20.0}

    found = changes(readings(bed, air, 60), 60)
    ended = spells_of(found, TransitionKind.SPELL_ENDED)
    assert len(ended) == 1
    assert ended[0].ended_ms is not None
    assert (ended[0].ended_ms - START_MS) / HOUR_MS == pytest.approx(40, abs=0.5)


def test_a_forecast_is_no_spell() -> None:
    def drying(hour: float) -> dict[str, float]:
        moisture = 70 - 0.7 * hour / 24
        return {"bed_temp_c": 20.0, "soil_raw": 2750 - 1600 * (0.40 + (moisture - 62) / 16 * 0.22)}

    found = changes(readings(drying, air, 130, 10), 130)
    assert [one.kind for one in found] == [TransitionKind.ALERT_RAISED]


@pytest.mark.parametrize("cut_h", [25, 42.55, 43, 44.5])
def test_a_restart_in_the_middle_does_not_change_what_a_spell_measured(cut_h: float) -> None:
    """The spell of this history runs until 42.5 h, goes on at 42.6 h and is over at 43.8 h."""
    made = readings(wet_from_to(6, 40), air, 80)
    whole = spells_of(changes(made, 80, [melon(5)]), TransitionKind.SPELL_ENDED)
    before = Judge(setup(), START_MS)
    before.set_entries("tansy", [melon(5)])
    begun, alerts = [], ()
    for one in run(before, made, cut_h):
        begun = [*one.spells] or begun
        alerts = one.alerts
    after = Judge(setup(), START_MS)
    after.set_entries("tansy", [melon(5)])
    cut_ms = START_MS + round(cut_h * HOUR_MS)
    after.add_readings([one for one in made if one.received_at_ms <= cut_ms])
    after.restore(alerts, begun)
    rest = [one for one in made if one.received_at_ms > cut_ms]
    found = [change for one in run(after, rest, 80, cut_h + 1 / 60) for change in one.transitions]
    assert spells_of(found, TransitionKind.SPELL_ENDED) == whole


def test_a_keepers_dry_lid_ends_the_spell() -> None:
    dry = entry(26, Sighting(lid=LidLook.DRY), 2)
    found = changes(readings(wet_from_to(6, 30), air, 36), 36, [melon(5), dry])
    ended = spells_of(found, TransitionKind.SPELL_ENDED)
    assert ended
    assert ended[0].ended_ms is not None
    assert (ended[0].ended_ms - START_MS) / HOUR_MS == pytest.approx(26, abs=0.2)
