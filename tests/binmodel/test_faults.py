"""Each sensor fault is found on each channel, ends when it ends, and healthy bins have none."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from binmodel.faulty import START_MS, Floats, Series, healthy, watched
from underlid.binmodel.faults.fault import Cause, Fault
from underlid.binmodel.hot import BUCKET_MS
from underlid.journal.entries import Entry, Feed, LiquidAdded, Portion, Sighting
from underlid.timeline import HOUR_MS

FROM_H, UNTIL_H, DAYS = 96.0, 144.0, 8
CHANNELS = ("bed_temp_c", "headspace_temp_c", "headspace_rh_pct", "soil_raw", "shed_temp_c")
SPIKE = {"headspace_rh_pct": -30.0, "soil_raw": 600.0}
NOISE = {"headspace_rh_pct": 8.0, "soil_raw": 150.0}
DRIFT_A_DAY = {"bed_temp_c": 1.0, "headspace_temp_c": 0.7, "shed_temp_c": 1.5, "soil_raw": 60.0}
FINE = {"bed_temp_c": 0.5, "headspace_temp_c": 0.5, "shed_temp_c": 0.5, "headspace_rh_pct": 1.0}

Change = Callable[[Floats, Floats], Floats]


def while_it_lasts(what: Change) -> Change:
    def change(hours: Floats, values: Floats) -> Floats:
        at = (hours >= FROM_H) & (hours < UNTIL_H)
        values[at] = what(hours[at], values[at])
        return values

    return change


def hour_of(bucket: int) -> float:
    return (bucket * BUCKET_MS - START_MS) / HOUR_MS


def causes(told: list[tuple[float, Fault]]) -> set[tuple[str, Cause]]:
    return {(one.channel, one.cause) for _, one in told}


def first(told: list[tuple[float, Fault]], cause: Cause) -> tuple[float, Fault]:
    return min((one for one in told if one[1].cause is cause), key=lambda one: one[0])


# -- health --------------------------------------------------------------------------------------

HEALTHY = {
    "coarse steps": {"steps": FINE},
    "still cellar": {"swing_k": 0.15},
    "still cellar, coarse steps": {"swing_k": 0.15, "steps": FINE},
    "sunny": {"swing_k": 6.0},
    "thick walls, quiet sensors": {"tau_h": 20.0, "noise": 0.05, "steps": {"bed_temp_c": 0.1}},
    "thick walls, coarse steps": {"tau_h": 12.0, "noise": 0.05, "steps": {"bed_temp_c": 0.5}},
}


def bread(hours: Floats) -> Floats:
    since = np.maximum(hours - 60.0, 0.0)
    return 0.8 + 9.0 * since / 36.0 * np.exp(1.0 - since / 36.0)


@pytest.mark.parametrize("step_min", [2, 5, 15])
@pytest.mark.parametrize("kind", HEALTHY)
def test_a_healthy_bin_has_no_fault(kind: str, step_min: int) -> None:
    bin_, told = watched(healthy(10, step_min, **HEALTHY[kind]))  # type: ignore[arg-type]
    assert told == []
    assert bin_.trust.opened == []


@pytest.mark.parametrize("share", [0.2, 0.7])
def test_steep_self_heat_is_no_fault(share: float) -> None:
    assert watched(healthy(10, 5, own=bread, share=share))[1] == []


def poured(lasts_h: float) -> Change:
    """Return water poured on the soil probe, of which a part stays that falls by half in *lasts_h*."""
    return lambda hours, values: (
        values - np.where(hours > FROM_H, 250.0 * 0.5 ** ((hours - FROM_H) / lasts_h), 0.0)
    )


def test_watering_that_is_written_down_even_late_is_no_fault_of_the_soil_probe() -> None:
    at_ms = START_MS + round(FROM_H * HOUR_MS)
    for known_h in (0.0, 8.0):
        known_ms = at_ms + round(known_h * HOUR_MS)
        entry = Entry("w", "tansy", at_ms, known_ms, LiquidAdded(1500.0))
        wetter = healthy(7).change("soil_raw", poured(28.0))
        bin_, told = watched(wetter, entries=[entry])
        assert told == []
        assert not np.isnan(bin_.window(160.0).means("moisture_pct", 60 * 12)).any()


def test_water_that_nobody_wrote_down_and_that_runs_off_is_no_fault() -> None:
    bin_, told = watched(healthy(7).change("soil_raw", poured(4.0)))
    assert told == []
    assert bin_.trust.spans("soil_raw")[0][1] is not None


def test_a_soil_probe_alone_that_stands_still_is_not_called_stuck() -> None:
    still = healthy(6).change("soil_raw", lambda _, values: np.full_like(values, 1760.0))
    assert watched(still, kept=("soil_raw",))[1] == []


def test_a_leaky_headspace_and_showers_that_nobody_wrote_down_are_no_drift() -> None:
    """A box in a heated room dries: 53 % to 44 % in three days. Rain comes through the roof by hours."""
    dries = healthy(8).change("headspace_rh_pct", lambda hours, v: v - 38.0 - hours / 24.0 * 2.6)
    assert watched(dries)[1] == []

    def rained(hours: Floats, values: Floats) -> Floats:
        showers = [np.clip((hours - at) / 4.0, 0.0, 1.0) for at in (96.0, 121.0, 139.0, 164.0)]
        return values - 55.0 * np.sum(showers, axis=0)

    assert watched(healthy(8).change("soil_raw", rained))[1] == []


# -- faults --------------------------------------------------------------------------------------


@pytest.mark.parametrize("step_min", [1, 10])
@pytest.mark.parametrize("channel", CHANNELS)
def test_spikes_are_left_out_and_told(channel: str, step_min: int) -> None:
    rng = np.random.default_rng(5)
    size = SPIKE.get(channel, 12.0)

    def spiky(_: Floats, values: Floats) -> Floats:
        return values + np.where(rng.random(len(values)) < 0.03, size, 0.0)

    good = healthy(DAYS, step_min)
    bin_, told = watched(good.change(channel, while_it_lasts(spiky)))
    assert causes(told) <= {(channel, Cause.SPIKE), (channel, Cause.MOVED)}
    assert (channel, Cause.SPIKE) in causes(told)
    window = bin_.window(DAYS * 24.0)
    name = "moisture_pct" if channel == "soil_raw" else channel
    clean = watched(good)[0].window(DAYS * 24.0).means(name, DAYS * 288)
    off = np.abs(window.means(name, DAYS * 288) - clean)
    spike = abs(size) * (72.0 / 1600.0 if channel == "soil_raw" else 1.0)
    assert np.nanmax(off) < 0.25 * spike
    assert bin_.faults() == []


@pytest.mark.parametrize("channel", CHANNELS)
def test_a_channel_that_stands_still_is_stuck_from_when_it_began(channel: str) -> None:
    stuck = while_it_lasts(lambda _, values: np.full_like(values, values[0]))
    bin_, told = watched(healthy(DAYS).change(channel, stuck))
    assert causes(told) == {(channel, Cause.STUCK)}
    hour, fault = first(told, Cause.STUCK)
    assert hour <= FROM_H + 16
    assert hour_of(fault.from_bucket) == pytest.approx(FROM_H, abs=1.1)
    begin, until = bin_.trust.spans(channel)[0]
    assert hour_of(begin) == pytest.approx(FROM_H, abs=1.1)
    assert until is not None
    assert hour_of(until) == pytest.approx(UNTIL_H, abs=1.1)


@pytest.mark.parametrize("channel", CHANNELS)
def test_a_channel_that_scatters_is_noisy(channel: str) -> None:
    rng = np.random.default_rng(3)
    size = NOISE.get(channel, 1.5)
    noisy = while_it_lasts(lambda _, values: values + size * rng.standard_normal(len(values)))
    bin_, told = watched(healthy(DAYS).change(channel, noisy))
    assert (channel, Cause.NOISE) in causes(told)
    assert first(told, Cause.NOISE)[0] <= FROM_H + 8
    assert {name for name, _ in causes(told)} == {channel}
    assert all(until is not None for _, until in bin_.trust.spans(channel))


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("channel", DRIFT_A_DAY)
def test_a_channel_that_leaves_what_the_others_explain_drifts(channel: str, sign: float) -> None:
    a_day = sign * DRIFT_A_DAY[channel]

    def drifts(hours: Floats, values: Floats) -> Floats:
        return values + a_day * np.maximum(hours - FROM_H, 0.0) / 24.0

    _, told = watched(healthy(9).change(channel, drifts))
    assert causes(told) == {(channel, Cause.DRIFT)}


@pytest.mark.parametrize(
    ("channel", "value"),
    [("bed_temp_c", 85.0), ("headspace_temp_c", -127.0), ("soil_raw", 4095.0),
     ("headspace_rh_pct", 120.0)],
)  # fmt: skip
def test_nonsense_is_told_within_hours_and_ends(channel: str, value: float) -> None:
    rail = while_it_lasts(lambda _, values: np.full_like(values, value))
    bin_, told = watched(healthy(DAYS).change(channel, rail))
    assert causes(told) == {(channel, Cause.NONSENSE)}
    assert told[0][0] <= FROM_H + 3
    assert hour_of(bin_.trust.spans(channel)[0][1] or 0) == pytest.approx(UNTIL_H, abs=1.1)


def test_two_thirds_lost_are_a_dropout_and_a_slower_interval_is_none() -> None:
    good = healthy(DAYS)
    gone = (good.hours >= FROM_H) & (good.hours < UNTIL_H)
    rng = np.random.default_rng(2)
    for lost, expected in (
        (gone & (rng.random(len(gone)) < 0.66), {("", Cause.DROPOUT)}),
        (gone & (np.arange(len(gone)) % 3 != 0), set()),
    ):
        values = {name: np.where(lost, np.nan, one) for name, one in good.values.items()}
        bin_, told = watched(Series(good.hours, values))
        assert causes(told) == expected
        assert not np.isnan(bin_.window(UNTIL_H).means("bed_temp_c", 288)).all()


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


def test_moisture_that_rises_for_days_after_a_big_feed_is_water_and_no_drift() -> None:
    def wetter(hours: Floats, values: Floats) -> Floats:
        return values - 55.0 * np.maximum(hours - FROM_H, 0.0) / 24.0

    rising = healthy(8).change("soil_raw", wetter)
    at_ms = START_MS + round(FROM_H * HOUR_MS)
    fed = Entry("f", "tansy", at_ms, at_ms, Feed((Portion("melon", 5000.0),)))
    assert ("soil_raw", Cause.DRIFT) in causes(watched(rising)[1])
    assert watched(rising, entries=[fed])[1] == []


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


def test_a_soil_probe_put_into_the_bed_only_now_was_not_moved() -> None:
    def put_in(hours: Floats, values: Floats) -> Floats:
        return np.where(hours < FROM_H, 2740.0, values)

    assert ("soil_raw", Cause.MOVED) not in causes(
        watched(healthy(6).change("soil_raw", put_in))[1]
    )


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
