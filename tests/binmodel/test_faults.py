"""Each sensor fault is found on each channel, ends when it ends, and healthy bins have none."""

from __future__ import annotations

import numpy as np
import pytest

from binmodel.faulty import (
    DAYS,
    FROM_H,
    PROBE,
    START_MS,
    UNTIL_H,
    Change,
    Floats,
    Series,
    Watched,
    causes,
    first,
    healthy,
    hour_of,
    watched,
    while_it_lasts,
)
from underlid.binmodel.faults.fault import Cause
from underlid.journal.entries import Entry, Feed, LiquidAdded, Portion
from underlid.readings.values import Reading
from underlid.timeline import DAY_MS, HOUR_MS

CHANNELS = ("bed_temp_c", "headspace_temp_c", "headspace_rh_pct", "soil_raw", "shed_temp_c")
SPIKE = {"headspace_rh_pct": -30.0, "soil_raw": 600.0}
NOISE = {"headspace_rh_pct": 8.0, "soil_raw": 150.0}
DRIFT_A_DAY = {"bed_temp_c": 1.0, "headspace_temp_c": 0.7, "shed_temp_c": 1.5, "soil_raw": 60.0}
FINE = {"bed_temp_c": 0.5, "headspace_temp_c": 0.5, "shed_temp_c": 0.5, "headspace_rh_pct": 1.0}


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


def test_a_headspace_that_comes_off_saturation_is_no_drift() -> None:
    """A lid left ajar by a finger; its film goes and the sensor, wet for weeks, dries itself."""
    days = np.array([100.0] * 7 + [97.5, 94.0, 91.5] + [91.3] * 3)
    ajar = healthy(12, 15).change(
        "headspace_rh_pct", lambda hours, _: days[(hours // 24).astype(int)]
    )
    assert watched(ajar)[1] == []


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


@pytest.mark.parametrize("step_min", [5, 15])
def test_a_loose_plug_is_told_soon_and_the_good_values_are_believed(step_min: int) -> None:
    rng = np.random.default_rng(7)
    loose = while_it_lasts(lambda _, values: np.where(rng.random(len(values)) < 0.15, 85.0, values))
    bin_, told = watched(healthy(DAYS, step_min).change("bed_temp_c", loose))
    assert causes(told) == {("bed_temp_c", Cause.NONSENSE)}
    assert told[0][0] <= FROM_H + (6 if step_min == 5 else 18)
    known = bin_.window(UNTIL_H).means("bed_temp_c", 48 * 12)
    assert np.count_nonzero(~np.isnan(known)) > 0.7 * 48 * 60 / step_min
    assert all(one.until_bucket is not None for one in bin_.faults())


def test_a_soil_probe_that_passes_the_end_of_fewer_bits_is_in_good_health() -> None:
    def passes(hours: Floats, values: Floats) -> Floats:
        off = values - 1770.0 - hours / 8.0
        return np.round(np.where(np.arange(len(hours)) % 4, 1010.0 + off + hours / 8.0, 1023.0))

    assert watched(healthy(DAYS).change("soil_raw", passes))[1] == []


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


def test_moisture_that_rises_for_days_after_a_big_feed_is_water_and_no_drift() -> None:
    def wetter(hours: Floats, values: Floats) -> Floats:
        return values - 55.0 * np.maximum(hours - FROM_H, 0.0) / 24.0

    rising = healthy(8).change("soil_raw", wetter)
    at_ms = START_MS + round(FROM_H * HOUR_MS)
    fed = Entry("f", "tansy", at_ms, at_ms, Feed((Portion("melon", 5000.0),)))
    assert ("soil_raw", Cause.DRIFT) in causes(watched(rising)[1])
    assert watched(rising, entries=[fed])[1] == []


@pytest.mark.parametrize("a_day", [0.8, -0.8])
def test_a_bed_that_is_fed_as_ever_does_not_hide_a_slow_drift(a_day: float) -> None:
    def drifts(hours: Floats, values: Floats) -> Floats:
        return values + a_day * np.maximum(hours - FROM_H, 0.0) / 24.0

    fed = []
    for day in (0, 3, 6):
        at_ms = START_MS + day * DAY_MS
        scraps = Feed((Portion("vegetable-scraps", 600.0),))
        fed.append(Entry(f"f{day}", "tansy", at_ms, at_ms, scraps))
    told = watched(healthy(9).change("bed_temp_c", drifts), entries=fed)[1]
    assert causes(told) == {("bed_temp_c", Cause.DRIFT)}
    assert told[0][0] <= FROM_H + 72


def test_a_drift_that_ends_at_once_takes_its_last_hours_with_it() -> None:
    good, ends_h = healthy(DAYS + 2), FROM_H + 84.3

    def drifting(hours: Floats, values: Floats) -> Floats:
        lasts = (hours >= FROM_H) & (hours < ends_h)
        return values + np.where(lasts, 2.4 * (hours - FROM_H) / 24.0, 0.0)

    bin_, told = watched(good.change("bed_temp_c", drifting))
    assert ("bed_temp_c", Cause.DRIFT) in causes(told)
    last = round(((DAYS + 2) * 24.0 - ends_h + 24.0) * 12)
    true = watched(good)[0].window((DAYS + 2) * 24.0).means("bed_temp_c", last)
    off = bin_.window((DAYS + 2) * 24.0).means("bed_temp_c", last) - true
    assert np.nanmax(np.abs(off)) < 0.5
    assert np.isnan(off).sum() < 27 * 12


def test_what_a_wrong_clock_put_in_the_wrong_hours_makes_no_drift() -> None:
    bin_, told, off_ms = Watched(), set(), 10 * HOUR_MS
    queue = healthy(12, 10, swing_k=6.0, tau_h=3.0).readings()
    place = 0
    for hour in range(12 * 24):
        now_ms, batch = START_MS + hour * HOUR_MS, []
        while place < len(queue) and queue[place].taken_at_ms < now_ms:
            one = queue[place]
            wrong = (
                one.probe == PROBE and 100 * HOUR_MS <= one.taken_at_ms - START_MS < 200 * HOUR_MS
            )
            taken_ms = one.taken_at_ms - (off_ms if wrong else 0)
            batch.append(Reading(one.probe, one.shed, taken_ms, one.received_at_ms, one.values))
            place += 1
        bin_.add(batch)
        bin_.judge(float(hour))
        told |= {fault.cause for fault in bin_.faults()}
    assert bin_.trust._clocks
    assert Cause.DRIFT not in told
