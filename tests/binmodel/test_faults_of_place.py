"""Probes that are not where they were: moved in the bed, pulled out of it, put back."""

from __future__ import annotations

import numpy as np
import pytest

from binmodel.faulty import (
    DAYS,
    FROM_H,
    START_MS,
    UNTIL_H,
    Floats,
    Series,
    causes,
    first,
    healthy,
    hour_of,
    watched,
    while_it_lasts,
)
from underlid.binmodel.faults.fault import Cause
from underlid.journal.entries import Entry, Feed, Portion, Sighting
from underlid.timeline import HOUR_MS


def test_a_step_of_the_bed_is_a_probe_that_was_moved_unless_the_journal_has_work() -> None:
    stays = healthy(6).change("bed_temp_c", lambda hours, v: v + np.where(hours >= FROM_H, 2.5, 0))
    bin_, told = watched(stays)
    assert ("bed_temp_c", Cause.MOVED) in causes(told)
    hour, fault = first(told, Cause.MOVED)
    assert FROM_H < hour <= FROM_H + 3
    assert hour_of(fault.from_bucket) == pytest.approx(FROM_H, abs=0.6)
    at_ms = START_MS + round((FROM_H - 1.0) * HOUR_MS)
    fed = Entry("f", "tansy", at_ms, at_ms, Feed((Portion("bread", 900.0),)))
    assert ("bed_temp_c", Cause.MOVED) not in causes(watched(stays, entries=[fed])[1])
    assert bin_.trust.opened_at() is None


def test_a_probe_in_the_air_is_told_by_its_soil_and_by_the_bed_that_follows_the_air() -> None:
    good = healthy(DAYS)
    rng = np.random.default_rng(4)
    air = good.values["shed_temp_c"]
    out = (good.hours >= FROM_H) & (good.hours < UNTIL_H)
    values = good.values | {
        "bed_temp_c": np.where(
            out, air + 0.05 * rng.standard_normal(len(air)), good.values["bed_temp_c"]
        ),
        "soil_raw": np.where(out, 2740.0 + rng.integers(0, 9, len(air)), good.values["soil_raw"]),
    }
    bin_, told = watched(Series(good.hours, values))
    assert {("bed_temp_c", Cause.PULLED_OUT), ("soil_raw", Cause.PULLED_OUT)} <= causes(told)
    soil = min(hour for hour, one in told if one.channel == "soil_raw")
    assert soil <= FROM_H + 3
    spans = bin_.trust.spans("soil_raw") + bin_.trust.spans("bed_temp_c")
    assert all(until is not None for _, until in spans)
    assert np.nanmin(bin_.window(UNTIL_H).means("moisture_pct", 72 * 12)) > 60.0


def test_a_bed_that_goes_with_the_air_is_in_its_place_while_its_soil_probe_is_wet() -> None:
    good = healthy(DAYS)
    air = good.values["headspace_temp_c"]
    near = good.change("bed_temp_c", lambda hours, v: np.where(hours >= FROM_H, air + 0.05, v))
    _, told = watched(near)
    assert Cause.PULLED_OUT not in {one.cause for _, one in told}
    soilless = ("bed_temp_c", "headspace_temp_c", "headspace_rh_pct", "shed_temp_c")
    follows = healthy(DAYS, swing_k=5.0, tau_h=9.0, share=0.2)
    air = follows.values["headspace_temp_c"]
    out = follows.change("bed_temp_c", lambda hours, v: np.where(hours >= FROM_H, air + 0.05, v))
    _, told = watched(out, kept=soilless)
    assert ("bed_temp_c", Cause.PULLED_OUT) in causes(told)
    for same in (healthy(DAYS, share=0.97, swing_k=5.0), healthy(DAYS, tau_h=0.6, swing_k=5.0)):
        _, told = watched(same, kept=soilless)
        assert told == []


@pytest.mark.parametrize("step_min", [5, 15])
def test_a_bed_that_has_all_of_the_airs_swing_lies_in_it_though_it_is_as_warm(
    step_min: float,
) -> None:
    """60 kJ/K behind 3 W/K lag five hours; only the air itself keeps its distance to the air."""
    soilless = ("bed_temp_c", "headspace_temp_c", "headspace_rh_pct", "shed_temp_c")
    good = healthy(DAYS + 1, step_min, swing_k=1.2, own_k=0.1)
    head, noise = good.values["headspace_temp_c"], np.random.default_rng(6)
    air = head + 0.1 + 0.04 * noise.standard_normal(len(head))
    out = good.change("bed_temp_c", lambda hours, v: np.where(hours >= FROM_H, air, v))
    bin_, told = watched(out, kept=soilless)
    assert causes(told) == {("bed_temp_c", Cause.PULLED_OUT)}
    assert told[0][0] <= FROM_H + 31
    assert np.isnan(bin_.window(FROM_H + 48).means("bed_temp_c", 12 * 12)).all()
    back = good.change("bed_temp_c", lambda h, v: np.where((h >= FROM_H) & (h < UNTIL_H), air, v))
    bin_, _ = watched(back, kept=soilless)
    (span,) = bin_.trust.spans("bed_temp_c")
    assert span[1] is not None
    assert watched(good, kept=soilless)[1] == []


@pytest.mark.parametrize("counts", [-160.0, 100.0])
@pytest.mark.parametrize("step_min", [5, 15])
def test_moisture_is_unknown_after_a_soil_probe_was_moved_until_it_is_back(
    counts: float, step_min: float
) -> None:
    there = while_it_lasts(lambda _, values: values + counts)
    bin_, told = watched(healthy(DAYS, step_min).change("soil_raw", there))
    assert causes(told) == {("soil_raw", Cause.MOVED)}
    assert FROM_H + 10 <= told[0][0] <= FROM_H + 13
    known = ~np.isnan(bin_.window(DAYS * 24.0).means("moisture_pct", DAYS * 288))
    assert known[: round(FROM_H * 12) - 6 : 3].all()
    assert not known[round(FROM_H * 12) + 6 : round(UNTIL_H * 12) - 6].any()
    assert known[round(UNTIL_H * 12) + 24 : -24 : 3].all()
    assert len(bin_.trust.spans("soil_raw")) == 1


def test_a_weighed_sample_makes_a_moved_soil_probe_count_again_and_its_past_is_in_no_trend() -> (
    None
):
    def drier(hours: Floats, values: Floats) -> Floats:
        return values + np.where(hours >= FROM_H, 160.0, 0.0)

    at_ms = START_MS + round((FROM_H + 20.0) * HOUR_MS)
    sample = Entry("s", "tansy", at_ms, at_ms, Sighting(moisture_pct=76.0))
    bin_, told = watched(healthy(6).change("soil_raw", drier), entries=[sample])
    assert causes(told) == {("soil_raw", Cause.MOVED)}
    moisture = bin_.window(140.0).means("moisture_pct", 140 * 12)
    assert np.isnan(moisture[: round(FROM_H * 12)]).all()
    assert not np.isnan(moisture[-36 * 12 :]).any()


def test_a_third_step_of_a_soil_probe_within_a_week_leads_away_anew() -> None:
    def there_back_and_there(hours: Floats, values: Floats) -> Floats:
        away = ((hours >= FROM_H) & (hours < FROM_H + 30)) | (hours >= FROM_H + 60)
        return values + np.where(away, 160.0, 0.0)

    bin_, _ = watched(healthy(DAYS + 1).change("soil_raw", there_back_and_there))
    first_away, again = bin_.trust.spans("soil_raw")
    assert hour_of(first_away[1] or 0) == pytest.approx(FROM_H + 30, abs=2.5)
    assert hour_of(again[0]) == pytest.approx(FROM_H + 60, abs=0.6)
    assert again[1] is None
    assert np.isnan(bin_.window((DAYS + 1) * 24.0).means("moisture_pct", 24 * 12)).all()


def test_a_soil_probe_does_not_go_back_from_where_a_sample_was_weighed() -> None:
    at_ms = START_MS + round((FROM_H + 20.0) * HOUR_MS)
    sample = Entry("s", "tansy", at_ms, at_ms, Sighting(moisture_pct=76.0))
    away = while_it_lasts(lambda _, values: values - 160.0)
    bin_, _ = watched(healthy(DAYS + 1).change("soil_raw", away), entries=[sample])
    there, back = bin_.trust.spans("soil_raw")
    assert there[1] is not None
    assert hour_of(back[0]) == pytest.approx(UNTIL_H, abs=0.6)
    assert back[1] is None


def test_a_soil_probe_put_into_the_bed_only_now_was_not_moved() -> None:
    def put_in(hours: Floats, values: Floats) -> Floats:
        return np.where(hours < FROM_H, 2740.0, values)

    assert ("soil_raw", Cause.MOVED) not in causes(
        watched(healthy(6).change("soil_raw", put_in))[1]
    )


def test_a_soil_probe_that_lies_dry_is_never_taken_for_a_bed_however_long() -> None:
    def out(hours: Floats, values: Floats) -> Floats:
        return np.where((hours >= 30.0) & (hours < 270.0), 2740.0, values)

    bin_, told = watched(healthy(13).change("soil_raw", out))
    assert ("soil_raw", Cause.PULLED_OUT) in causes(told)
    assert np.isnan(bin_.window(268.0).means("moisture_pct", 200 * 12)).all()
    assert np.nanmin(bin_.window(300.0).means("moisture_pct", 24 * 12)) > 60.0


def test_a_soil_probe_that_was_never_in_the_bed_is_told_and_not_believed() -> None:
    def on_the_bench(hours: Floats, values: Floats) -> Floats:
        return np.where(hours < FROM_H, 2745.0, values)

    bin_, told = watched(healthy(6).change("soil_raw", on_the_bench))
    found = [hour for hour, one in told if one.cause is Cause.PULLED_OUT]
    assert found
    assert min(found) <= 12.0
    assert np.isnan(bin_.window(FROM_H - 1.0).means("moisture_pct", 24 * 12)).all()


def test_a_moved_bed_probe_counts_with_its_step_taken_off() -> None:
    good = healthy(DAYS)
    warmer = good.change("bed_temp_c", while_it_lasts(lambda _, values: values + 3.0))
    bin_, told = watched(warmer)
    assert causes(told) == {("bed_temp_c", Cause.MOVED)}
    true = watched(good)[0].window(DAYS * 24.0).means("bed_temp_c", DAYS * 288)
    off = bin_.window(DAYS * 24.0).means("bed_temp_c", DAYS * 288) - true
    assert np.nanmax(np.abs(off)) < 0.3
    assert np.isnan(off).sum() <= 5 * 12
    assert len(bin_.trust.spans("bed_temp_c")) == 1


def test_a_keeper_who_works_on_the_bed_may_put_a_moved_probe_back() -> None:
    good = healthy(DAYS)
    at_ms = START_MS + round((UNTIL_H - 0.4) * HOUR_MS)
    fed = Entry("f", "tansy", at_ms, at_ms, Feed((Portion("bread", 900.0),)))
    colder = good.change("bed_temp_c", while_it_lasts(lambda _, values: values - 1.8))
    bin_, _ = watched(colder, entries=[fed])
    (span,) = bin_.trust.spans("bed_temp_c")
    assert hour_of(span[1] or 0) == pytest.approx(UNTIL_H, abs=1.0)
    true = watched(good)[0].window(DAYS * 24.0).means("bed_temp_c", 24 * 12)
    off = bin_.window(DAYS * 24.0).means("bed_temp_c", 24 * 12) - true
    assert np.nanmax(np.abs(off)) < 0.3


def test_a_leap_of_a_noisy_bed_is_no_other_place() -> None:
    noise = np.random.default_rng(3)

    def scatters(hours: Floats, values: Floats) -> Floats:
        leap = np.where(hours < FROM_H + 5, 3.0, 0.0)
        return (
            values + leap + np.where(hours > FROM_H + 2, 3.0, 0.0) * noise.normal(size=len(hours))
        )

    good = healthy(DAYS)
    bin_, told = watched(good.change("bed_temp_c", while_it_lasts(scatters)))
    assert {Cause.MOVED, Cause.NOISE} <= {one.cause for _, one in told}
    true = watched(good)[0].window(DAYS * 24.0).means("bed_temp_c", 24 * 12)
    off = bin_.window(DAYS * 24.0).means("bed_temp_c", 24 * 12) - true
    assert np.nanmax(np.abs(off)) < 0.3


def test_a_bed_that_dries_to_dust_is_no_probe_in_the_air() -> None:
    def dries(hours: Floats, values: Floats) -> Floats:
        """Go from where the probe stood at the fault's hour to dry air, in four days."""
        gone = np.clip((hours - FROM_H) / 96.0, 0.0, 1.0)
        return values + gone * (2745.0 - values)

    told = watched(healthy(DAYS).change("soil_raw", dries))[1]
    assert ("soil_raw", Cause.PULLED_OUT) not in causes(told)


def test_a_bed_that_has_long_been_as_dry_as_air_is_told_from_a_probe_in_it_by_its_thermometer() -> (
    None
):
    good, days = healthy(19, 30), 19.0

    def dust(hours: Floats, values: Floats) -> Floats:
        gone = np.clip((hours - 24.0) / 168.0, 0.0, 1.0)
        return values + gone * (2712.0 + 4.0 * np.sin(hours / 4.0) - values)

    dried = good.change("soil_raw", dust)
    bin_, told = watched(dried, days * 24.0)
    assert ("soil_raw", Cause.PULLED_OUT) not in causes(told)
    started_anew, _ = watched(dried, days * 24.0, every_min=days * 24.0 * 60.0)
    assert started_anew.trust.faults("tansy-1") == bin_.trust.faults("tansy-1")
    air = good.values["shed_temp_c"] + 0.1
    values = good.values | {
        "bed_temp_c": np.where(good.hours < 24.0, good.values["bed_temp_c"], air),
        "soil_raw": np.where(good.hours < 24.0, good.values["soil_raw"], 2740.0),
    }
    out = Series(good.hours, values)
    _, told = watched(out, days * 24.0, every_min=days * 24.0 * 60.0)
    assert ("soil_raw", Cause.PULLED_OUT) in causes(told)
