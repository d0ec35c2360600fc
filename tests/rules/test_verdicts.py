"""What each rule says of hand-made histories: verdict, cause, grade, and why it is unknown.

Curves are chosen by the physics of the science page, not by a simulator.
"""

from __future__ import annotations

import math

import pytest

from judge.series import START_MS, Curve, entry, melon, readings, setup
from underlid.binmodel.bins import BinKind, ProbePlace, Setup
from underlid.journal.entries import BeddingAdded, Entry, Feed, LiquidAdded, Portion
from underlid.judge import Judge
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.timeline import HOUR_MS

HOLDS, CLEAR, UNKNOWN = Verdict.HOLDS, Verdict.CLEAR, Verdict.UNKNOWN


def said(
    condition: Condition,
    bin_curve: Curve,
    air_curve: Curve,
    hours: float,
    entries: list[Entry] | None = None,
    place: Setup | None = None,
) -> Finding:
    """Return the finding of one judgement at the end of a history."""
    judge = Judge(place or setup(), START_MS)
    judge.set_entries("tansy", entries or [])
    judge.add_readings(readings(bin_curve, air_curve, hours))
    judgement = judge.judge(START_MS + round(hours * HOUR_MS))[0]
    return next(one for one in judgement.findings if one.condition is condition and not one.subject)


def bin_of(**values: float) -> Curve:
    return lambda _hour: dict(values)


def air_of(shed_temp_c: float) -> Curve:
    return lambda _hour: {"shed_temp_c": shed_temp_c}


def nothing(_hour: float) -> None:
    return None


WET_LID = {"bed_temp_c": 25.0, "headspace_temp_c": 24.0, "headspace_rh_pct": 98.0}


# -- condensation --------------------------------------------------------------------------------


def test_a_lid_that_gains_water_day_and_night_is_wet() -> None:
    found = said(Condition.CONDENSATION, bin_of(**WET_LID), air_of(19.0), 40, [melon(4)])
    assert (found.verdict, found.priority, found.grade) == (HOLDS, Priority.HIGH, "lid_estimate")
    assert (found.cause, found.feed_at_ms) == ("feed", melon(4).at_ms)
    # lid 19 + 0.7·5 = 22.5 °C: by the sensor 14.1 g/m²h, by the bed 7.2, weighed 8.2
    assert found.evidence["condensing_g_m2_h"] == pytest.approx(8.2, rel=0.05)
    assert found.evidence["lid_margin_k"] == pytest.approx(-1.17, abs=0.05)


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
    assert wettest > 20.0


def test_a_lid_probe_is_believed_over_the_estimate() -> None:
    dry = bin_of(**WET_LID, lid_temp_c=24.5)
    found = said(Condition.CONDENSATION, dry, air_of(19.0), 30)
    assert (found.verdict, found.grade) == (CLEAR, "lid_probe")
    wet = bin_of(**WET_LID, lid_temp_c=21.0)
    found = said(Condition.CONDENSATION, wet, nothing, 30)
    assert (found.verdict, found.grade, found.certainty) == (HOLDS, "lid_probe", 0.9)


def test_humidity_alone_is_weak_evidence() -> None:
    grossly = bin_of(bed_temp_c=26.0, headspace_temp_c=22.0, headspace_rh_pct=98.0)
    found = said(Condition.CONDENSATION, grossly, nothing, 30)
    assert (found.verdict, found.priority, found.grade) == (HOLDS, Priority.LOW, "humidity")
    assert found.certainty <= 0.5
    usual = bin_of(bed_temp_c=22.5, headspace_temp_c=22.0, headspace_rh_pct=98.0)
    assert said(Condition.CONDENSATION, usual, nothing, 30).verdict is CLEAR


def test_a_humidity_sensor_saturated_for_a_day_says_nothing() -> None:
    spent = bin_of(bed_temp_c=26.0, headspace_temp_c=22.0, headspace_rh_pct=100.0)
    found = said(Condition.CONDENSATION, spent, nothing, 30)
    assert found.verdict is UNKNOWN
    assert "saturated" in found.reason
    slightly = bin_of(bed_temp_c=21.0, headspace_temp_c=20.6, headspace_rh_pct=100.0)
    found = said(Condition.CONDENSATION, slightly, air_of(19.4), 120)
    assert found.verdict is CLEAR
    assert found.evidence["headspace_rh_sensor"] == "saturated"
    warm = bin_of(bed_temp_c=26.0, headspace_temp_c=25.0, headspace_rh_pct=100.0)
    found = said(Condition.CONDENSATION, warm, air_of(19.0), 60)
    assert found.verdict is HOLDS
    assert found.certainty < 0.5


def test_the_lid_is_unknown_without_headspace_humidity_and_when_it_falls_silent() -> None:
    found = said(Condition.CONDENSATION, bin_of(bed_temp_c=25.0), air_of(19.0), 30)
    assert (found.verdict, bool(found.reason)) == (UNKNOWN, True)

    def silent(hour: float) -> dict[str, float] | None:
        return WET_LID if hour < 28 else None

    assert said(Condition.CONDENSATION, silent, air_of(19.0), 30).verdict is UNKNOWN


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


# -- overheating and cold ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bed", "shed", "cause"),
    [
        (31.0, 21.0, "feed"),
        (28.0, 22.0, "feed"),
        (31.0, 30.5, "room"),
        (30.5, 28.0, "room"),
        (33.5, 33.5, "room"),
    ],
)
def test_the_cause_of_heat_is_told_from_the_air_around(bed: float, shed: float, cause: str) -> None:
    found = said(Condition.OVERHEATING, bin_of(bed_temp_c=bed), air_of(shed), 30, [melon(4)])
    assert (found.verdict, found.cause) == (HOLDS, cause)
    assert found.evidence["self_heat_k"] == pytest.approx(bed - shed, abs=0.1)
    assert (found.feed_at_ms is None) is (cause == "room")


def test_a_bed_that_cools_slowly_in_a_cold_night_is_not_called_fed() -> None:
    def cooling(hour: float) -> dict[str, float]:
        return {"bed_temp_c": 30.0 - 0.4 * max(0.0, hour - 20)}

    def night(hour: float) -> dict[str, float]:
        return {"shed_temp_c": 30.0 if hour < 20 else 26.0}

    found = said(Condition.OVERHEATING, cooling, night, 26)
    assert found.cause == "room"


@pytest.mark.parametrize(
    ("bed", "verdict", "priority"),
    [
        (26.9, CLEAR, Priority.LOW),
        (27.0, HOLDS, Priority.MEDIUM),
        (30.0, HOLDS, Priority.HIGH),
        (33.0, HOLDS, Priority.CRITICAL),
    ],
)
def test_heat_by_the_limits_of_the_herd(bed: float, verdict: Verdict, priority: Priority) -> None:
    found = said(Condition.OVERHEATING, bin_of(bed_temp_c=bed), air_of(bed), 10)
    assert (found.verdict, found.priority) == (verdict, priority)


@pytest.mark.parametrize(
    ("bed", "verdict", "priority"),
    [
        (10.1, CLEAR, Priority.LOW),
        (10.0, HOLDS, Priority.MEDIUM),
        (4.0, HOLDS, Priority.HIGH),
    ],
)
def test_cold_by_the_limits_of_the_herd(bed: float, verdict: Verdict, priority: Priority) -> None:
    found = said(Condition.TOO_COLD, bin_of(bed_temp_c=bed), air_of(bed), 10)
    assert (found.verdict, found.priority) == (verdict, priority)


@pytest.mark.parametrize("condition", [Condition.OVERHEATING, Condition.TOO_COLD])
def test_heat_and_cold_are_unknown_without_a_bed_probe(condition: Condition) -> None:
    found = said(condition, bin_of(headspace_temp_c=40.0), air_of(40.0), 10)
    assert (found.verdict, bool(found.reason)) == (UNKNOWN, True)


def test_a_single_spike_is_not_heat() -> None:
    def spiky(hour: float) -> dict[str, float]:
        return {"bed_temp_c": 45.0 if 9.9 < hour < 9.95 else 22.0}

    judge = Judge(setup(), START_MS)
    judge.add_readings(readings(spiky, air_of(21.0), 10, step_min=1))
    found = judge.judge(START_MS + 10 * HOUR_MS)[0].findings
    assert [one for one in found if one.verdict is HOLDS] == []


# -- the bed's water -----------------------------------------------------------------------------


def moist(start_pct: float, per_day: float, swing: float = 0.0) -> Curve:
    """Return a soil probe's counts for a moisture that falls, with the probe's daily artefact."""

    def curve(hour: float) -> dict[str, float]:
        moisture = start_pct + per_day * hour / 24
        index = 0.40 + (moisture - 62) / 16 * 0.22 + swing * math.sin(2 * math.pi * hour / 24)
        return {"bed_temp_c": 20.0, "soil_raw": 2750 - 1600 * index}

    return curve


@pytest.mark.parametrize("per_day", [-0.3, -0.5, -0.8])
@pytest.mark.parametrize("swing", [0.0, 0.02])
def test_the_day_of_being_too_dry_is_foreseen(per_day: float, swing: float) -> None:
    left_d = 6.0
    start = 65 - per_day * (left_d + 6)
    found = said(Condition.DRYING_OUT, moist(start, per_day, swing), air_of(19.0), 6 * 24)
    assert (found.verdict, found.priority) == (HOLDS, Priority.LOW)
    truth_ms = START_MS + 12 * 24 * HOUR_MS
    assert found.forecast_for_ms == pytest.approx(truth_ms, abs=0.15 * left_d * 24 * HOUR_MS)
    soonest, latest = (
        float(found.evidence[f"days_until_too_dry_{word}"]) for word in ("soonest", "latest")
    )
    assert soonest <= float(found.evidence["days_until_too_dry"]) <= latest


def test_a_probes_daily_wiggle_alone_is_no_drying() -> None:
    for hours in (80, 96, 120, 170):
        found = said(Condition.DRYING_OUT, moist(72, 0.0, 0.03), air_of(19.0), hours)
        assert found.verdict is CLEAR, hours


@pytest.mark.parametrize(
    ("level_pct", "condition", "priority"),
    [
        (64.0, Condition.DRYING_OUT, Priority.MEDIUM),
        (59.0, Condition.DRYING_OUT, Priority.HIGH),
        (86.0, Condition.TOO_WET, Priority.MEDIUM),
        (91.0, Condition.TOO_WET, Priority.HIGH),
    ],
)
def test_a_bed_beyond_its_limits(
    level_pct: float, condition: Condition, priority: Priority
) -> None:
    found = said(condition, moist(level_pct, 0.0), air_of(19.0), 30)
    assert (found.verdict, found.priority) == (HOLDS, priority)


def test_watering_ends_the_trend_written_down_or_not() -> None:
    def watered(hour: float) -> dict[str, float] | None:
        return moist(70 if hour < 120 else 74.5, -0.7)(hour)

    before = said(Condition.DRYING_OUT, watered, air_of(19.0), 119)
    assert before.verdict is HOLDS
    after = said(Condition.DRYING_OUT, watered, air_of(19.0), 150)
    assert after.verdict is CLEAR
    told = said(
        Condition.DRYING_OUT, moist(70, -0.7), air_of(19.0), 119, [entry(100, LiquidAdded(2000.0))]
    )
    assert told.verdict is CLEAR
    assert "moisture_trend_pct_d" not in told.evidence


def test_feeds_do_not_end_the_trend() -> None:
    weekly = [melon(24), entry(100, Feed((Portion("carrot", 900.0),)), 2)]
    found = said(Condition.DRYING_OUT, moist(70, -0.7), air_of(19.0), 119, weekly)
    assert found.verdict is HOLDS


def test_a_probe_without_weighed_samples_is_believed_on_trends_not_on_levels() -> None:
    place = ProbePlace("tansy-1", "potting", "tansy", soil_dry_raw=2750, soil_wet_raw=1150)
    guess = Setup(setup().sheds, setup().bins, {**setup().probes, "tansy-1": place})
    # prior line 33 + 72·index: index 0.42 → 63 %, below the limit, but a guess
    steady = bin_of(bed_temp_c=20.0, soil_raw=2750 - 1600 * 0.42)
    assert said(Condition.DRYING_OUT, steady, air_of(19.0), 120, place=guess).verdict is CLEAR

    def falling(hour: float) -> dict[str, float]:
        return {"bed_temp_c": 20.0, "soil_raw": 2750 - 1600 * (0.45 - 0.01 * hour / 24)}

    found = said(Condition.DRYING_OUT, falling, air_of(19.0), 120, place=guess)
    assert (found.verdict, found.priority, found.certainty) == (HOLDS, Priority.LOW, 0.5)
    assert "weighed sample" in found.reason
    bone_dry = bin_of(bed_temp_c=20.0, soil_raw=2750 - 1600 * 0.2)
    found = said(Condition.DRYING_OUT, bone_dry, air_of(19.0), 120, place=guess)
    assert found.verdict is HOLDS
    assert found.priority.rank >= Priority.MEDIUM.rank


@pytest.mark.parametrize("condition", [Condition.DRYING_OUT, Condition.TOO_WET])
def test_the_beds_water_is_unknown_without_a_soil_probe_or_a_day_of_it(
    condition: Condition,
) -> None:
    assert said(condition, bin_of(bed_temp_c=20.0), air_of(19.0), 30).verdict is UNKNOWN
    assert said(condition, moist(60, 0.0), air_of(19.0), 3).verdict is UNKNOWN


# -- amounts -------------------------------------------------------------------------------------


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
