"""What is said of the lid for hand-made histories, and how much bedding takes it up.

Curves are chosen by the physics of the science page, not by a simulator.
"""

from __future__ import annotations

import math

import pytest

from judge.series import START_MS, changes, entry, melon, readings, setup
from rules.said import CLEAR, HOLDS, UNKNOWN, air_of, bin_of, nothing, said
from underlid.alerts.alert import TransitionKind
from underlid.binmodel.bins import BinKind
from underlid.journal.entries import BeddingAdded, Feed, Portion
from underlid.judge import Judge
from underlid.rules.finding import Condition, Priority
from underlid.timeline import HOUR_MS

WET_LID = {"bed_temp_c": 25.0, "headspace_temp_c": 24.0, "headspace_rh_pct": 98.0}


def test_a_lid_that_gains_water_day_and_night_is_wet() -> None:
    found = said(Condition.CONDENSATION, bin_of(**WET_LID), air_of(19.0), 96, [melon(4)])
    assert (found.verdict, found.priority, found.grade) == (HOLDS, Priority.HIGH, "lid_estimate")
    assert (found.cause, found.feed_at_ms) == ("feed", melon(4).at_ms)
    # lid 19 + 0.7·5 = 22.5 °C, worked out in binmodel/test_lid_and_heat.py
    assert found.evidence["condensing_g_m2_h"] == pytest.approx(5.8, rel=0.15)
    assert found.evidence["lid_margin_k"] == pytest.approx(-1.17, abs=0.15)


def test_a_lid_is_judged_alike_by_probes_that_send_once_an_hour() -> None:
    made = readings(bin_of(**WET_LID), air_of(19.0), 60, step_min=60)
    alerts = [one for one in changes(made, 60) if one.alert is not None]
    found = [one for one in alerts if one.alert.condition is Condition.CONDENSATION]
    assert found[-1].alert.priority is Priority.HIGH
    worse = [one for one in found if one.kind is TransitionKind.ALERT_WORSENED]
    assert len(worse) <= 2, "from foreseen to medium to high"


def test_saturated_air_under_a_lid_as_warm_as_it_condenses_nothing() -> None:
    still = bin_of(bed_temp_c=20.2, headspace_temp_c=20.1, headspace_rh_pct=99.0)
    assert said(Condition.CONDENSATION, still, air_of(20.0), 200).verdict is CLEAR


def test_mist_that_comes_every_night_and_goes_every_noon_is_weather() -> None:
    def bin_curve(hour: float) -> dict[str, float]:
        wave = math.sin(2 * math.pi * hour / 24)
        return {
            "bed_temp_c": 20 + 0.8 * wave,
            "headspace_temp_c": 20 + 1.2 * wave,
            "headspace_rh_pct": 97.0,
        }

    def air_curve(hour: float) -> dict[str, float]:
        return {"shed_temp_c": 19.7 + 4 * math.sin(2 * math.pi * (hour + 1) / 24)}

    wettest = 0.0
    for hours in range(72, 97, 3):
        found = said(Condition.CONDENSATION, bin_curve, air_curve, hours)
        assert found.verdict is CLEAR, hours
        wettest = max(wettest, float(found.evidence["lid_film_g_m2"]))
    assert wettest > 5.0


def test_a_lid_probe_is_believed_over_the_estimate() -> None:
    dry = bin_of(**WET_LID, lid_temp_c=24.5)
    found = said(Condition.CONDENSATION, dry, air_of(19.0), 30)
    assert (found.verdict, found.grade) == (CLEAR, "lid_probe")
    wet = bin_of(**WET_LID, lid_temp_c=21.0)
    found = said(Condition.CONDENSATION, wet, nothing, 30)
    assert (found.verdict, found.grade, found.certainty) == (HOLDS, "lid_probe", 0.9)


def test_without_a_shed_probe_bed_and_headspace_tell_the_gross_case() -> None:
    grossly = bin_of(bed_temp_c=26.0, headspace_temp_c=22.0, headspace_rh_pct=98.0)
    found = said(Condition.CONDENSATION, grossly, nothing, 30)
    assert (found.verdict, found.priority, found.grade) == (HOLDS, Priority.MEDIUM, "humidity")
    assert found.certainty <= 0.6
    usual = bin_of(bed_temp_c=22.1, headspace_temp_c=22.0, headspace_rh_pct=96.0)
    found = said(Condition.CONDENSATION, usual, nothing, 30)
    assert found.verdict is CLEAR
    low, high = (float(found.evidence[f"lid_film_{end}_g_m2"]) for end in ("low", "high"))
    assert high - low > 20.0


def test_a_saturated_humidity_sensor_takes_nothing_from_the_lid() -> None:
    slightly = bin_of(bed_temp_c=19.6, headspace_temp_c=19.5, headspace_rh_pct=100.0)
    found = said(Condition.CONDENSATION, slightly, air_of(19.4), 60)
    assert found.verdict is CLEAR
    assert found.evidence["headspace_rh_sensor"] == "saturated"
    warm = bin_of(bed_temp_c=26.0, headspace_temp_c=25.0, headspace_rh_pct=100.0)
    assert said(Condition.CONDENSATION, warm, air_of(19.0), 60).verdict is HOLDS


def test_the_lid_is_unknown_without_a_bed_or_when_the_probes_fall_silent() -> None:
    found = said(Condition.CONDENSATION, bin_of(headspace_temp_c=25.0), air_of(19.0), 30)
    assert (found.verdict, bool(found.reason)) == (UNKNOWN, True)

    def silent(hour: float) -> dict[str, float] | None:
        return WET_LID if hour < 27 else None

    assert said(Condition.CONDENSATION, silent, air_of(19.0), 31).verdict is UNKNOWN


def test_a_dry_bed_or_an_open_bin_is_told_by_its_low_humidity() -> None:
    found = said(
        Condition.CONDENSATION, bin_of(**WET_LID | {"headspace_rh_pct": 75.0}), air_of(19.0), 48
    )
    assert found.verdict is CLEAR
    assert float(found.evidence["lid_film_g_m2"]) < 10.0


def test_the_wet_feed_is_named_and_not_the_dry_one_after_it() -> None:
    bread = entry(20, Feed((Portion("bread", 400.0),)), 2)
    found = said(Condition.CONDENSATION, bin_of(**WET_LID), air_of(19.0), 30, [melon(4), bread])
    assert found.feed_at_ms == melon(4).at_ms


def test_a_wet_lid_without_a_wet_feed_names_none() -> None:
    bread = entry(20, Feed((Portion("bread", 400.0),)), 2)
    found = said(Condition.CONDENSATION, bin_of(**WET_LID), air_of(19.0), 30, [bread])
    assert (found.verdict, found.cause, found.feed_at_ms) == (HOLDS, "", None)


def test_a_lid_of_wood_and_a_bag_that_breathes_stay_drier() -> None:
    films = {}
    for kind in (BinKind.PLASTIC_TOTE, BinKind.FLOW_THROUGH_BAG, BinKind.WOODEN_BOX):
        found = said(
            Condition.CONDENSATION, bin_of(**WET_LID), air_of(19.0), 10, place=setup(kind=kind)
        )
        films[kind] = float(found.evidence["lid_film_g_m2"])
    assert films[BinKind.WOODEN_BOX] < films[BinKind.FLOW_THROUGH_BAG] < films[BinKind.PLASTIC_TOTE]


def test_bedding_put_in_since_the_feed_is_taken_off_the_dose() -> None:
    doses = []
    for entries in (
        [melon(4)],
        [melon(4), entry(9, BeddingAdded((Portion("newspaper", 200.0),)), 2)],
    ):
        judge = Judge(setup(), START_MS)
        judge.set_entries("tansy", entries)
        judge.add_readings(readings(bin_of(**WET_LID), air_of(19.0), 30))
        judgement = judge.judge(START_MS + 30 * HOUR_MS)[0]
        alert = next(one for one in judgement.alerts if one.condition is Condition.CONDENSATION)
        doses.append(alert.advice[0].amount_g)
    assert None not in doses
    assert doses[0] - doses[1] == pytest.approx(200, abs=15)  # type: ignore[operator]
