"""Sensors add what real ones add, and fail in the ways that real ones fail."""

from __future__ import annotations

import statistics

import pytest

from underlid.simulate.sensors import Fault, FaultKind, Sensor, SimulatedProbe
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

TRUTH = {"bed_temp_c": 22.0, "headspace_rh_pct": 96.0, "soil_raw": 1850.0}
HOURS = 60


def probe(*faults: Fault) -> SimulatedProbe:
    made = SimulatedProbe("tansy-1", "potting", "tansy", tuple(TRUTH), "7")
    made.faults.extend(faults)
    return made


def fault(kind: FaultKind, channel: str = "bed_temp_c", again_ms: int = 0) -> Fault:
    return Fault("tansy-1", kind, 10 * HOUR_MS, 20 * HOUR_MS, channel, again_ms)


def said(made: SimulatedProbe, hours: int = HOURS) -> list[dict[str, float] | None]:
    return [made.read(TRUTH, minute * MINUTE_MS) for minute in range(hours * 60)]


def test_a_sound_probe_is_near_the_truth_and_the_same_again() -> None:
    once, again = said(probe()), said(probe())
    assert once == again
    beds = [one["bed_temp_c"] for one in once if one]
    assert statistics.mean(beds) == pytest.approx(22.0, abs=0.6)
    assert 0.01 < statistics.stdev(beds) < 0.2
    assert all((value / 0.0625).is_integer() for value in beds)


def test_humidity_reads_high_after_wet_days_and_never_above_100() -> None:
    wet = [one["headspace_rh_pct"] for one in said(probe(), 80) if one]
    assert statistics.mean(wet[-60:]) > statistics.mean(wet[:60]) + 2.0
    assert max(wet) <= 100.0


def test_a_sensor_lags() -> None:
    sensor = Sensor("bed_temp_c", "1")
    first = sensor.read(20.0, 0.0, 0, None)
    soon = sensor.read(30.0, 60.0, 60_000, None)
    later = [sensor.read(30.0, 60.0, 60_000, None) for _ in range(30)][-1]
    assert first < soon < later


@pytest.mark.parametrize(
    ("kind", "channel", "value"),
    [
        (FaultKind.SENTINEL, "bed_temp_c", 85.0),
        (FaultKind.RAIL, "soil_raw", 4095.0),
    ],
)
def test_a_broken_wire_says_its_number(kind: FaultKind, channel: str, value: float) -> None:
    values = [one[channel] for one in said(probe(fault(kind, channel))) if one]
    assert set(values[600:1200]) == {value}
    assert value not in values[:600]


def test_stuck_spike_and_drift_touch_their_channel_only() -> None:
    sound = said(probe())
    for kind in (FaultKind.STUCK, FaultKind.SPIKE, FaultKind.DRIFT):
        faulty = said(probe(fault(kind)))
        assert [one and one["soil_raw"] for one in faulty] == [
            one and one["soil_raw"] for one in sound
        ]
        beds = [one["bed_temp_c"] for one in faulty if one][600:1200]
        if kind is FaultKind.STUCK:
            assert len(set(beds)) == 1
        elif kind is FaultKind.SPIKE:
            assert 3 < sum(value > 30.0 for value in beds) < 60
        else:
            assert beds[-1] > beds[0] + 0.1


def test_silent_and_dropout_send_less() -> None:
    silent = said(probe(fault(FaultKind.SILENT, "")))
    assert all(one is None for one in silent[600:1200])
    assert all(silent[:600] + silent[1200:])
    dropped = said(probe(fault(FaultKind.DROPOUT, "")))
    assert 250 < sum(one is None for one in dropped[600:1200]) < 550


def test_late_readings_arrive_when_the_fault_is_over() -> None:
    made = probe(fault(FaultKind.LATE, ""))
    assert made.received_ms(9 * HOUR_MS) == 9 * HOUR_MS
    assert made.received_ms(12 * HOUR_MS) == 20 * HOUR_MS


def test_a_fault_may_come_again() -> None:
    one = fault(FaultKind.SILENT, "", again_ms=2 * DAY_MS)
    assert [one.holds(hour * HOUR_MS) for hour in (5, 12, 25, 60, 70)] == [
        False, True, False, True, False,
    ]  # fmt: skip


def test_noise_scatters_and_a_move_is_a_step() -> None:
    noisy = [one["bed_temp_c"] for one in said(probe(fault(FaultKind.NOISE))) if one]
    assert statistics.stdev(noisy[10 * 60 : 20 * 60]) > 10 * statistics.stdev(noisy[30 * 60 :])
    moved = [one["bed_temp_c"] for one in said(probe(fault(FaultKind.MOVED))) if one]
    step = statistics.mean(moved[11 * 60 : 19 * 60]) - statistics.mean(moved[30 * 60 :])
    assert step == pytest.approx(2.5, abs=0.05)


def test_a_fault_of_one_size_is_worse_than_one_of_another() -> None:
    ends = []
    for size in (1.0, 2.0):
        one = Fault("tansy-1", FaultKind.DRIFT, 0, 60 * HOUR_MS, "bed_temp_c", size=size)
        ends.append(said(probe(one))[-1])
    assert ends[1]["bed_temp_c"] - ends[0]["bed_temp_c"] == pytest.approx(0.6 * 2.5, abs=0.1)


def test_a_probe_that_was_pulled_out_feels_the_air_and_dry_soil() -> None:
    made = probe(Fault("tansy-1", FaultKind.PULLED_OUT, 0, DAY_MS))
    truth = {**TRUTH, "headspace_temp_c": 15.0}
    values = [made.read(truth, minute * MINUTE_MS) for minute in range(60)]
    assert values[-1]["bed_temp_c"] == pytest.approx(15.0, abs=0.7)
    assert values[-1]["soil_raw"] > 2650


def test_a_wet_humidity_sensor_says_one_hundred() -> None:
    wet = said(probe(fault(FaultKind.SATURATED, "headspace_rh_pct")))
    assert wet[15 * 60]["headspace_rh_pct"] == 100.0
    assert wet[15 * 60]["bed_temp_c"] == pytest.approx(22.0, abs=1.0)


def test_a_wrong_clock_and_a_rough_road() -> None:
    made = probe(
        Fault("tansy-1", FaultKind.WRONG_CLOCK, 0, DAY_MS, size=-3.0),
        Fault("tansy-1", FaultKind.SHUFFLED, 0, DAY_MS, size=2.0),
    )
    assert made.clock_ms(5 * HOUR_MS) == 2 * HOUR_MS
    assert made.clock_ms(2 * DAY_MS) == 2 * DAY_MS
    came = [made.received_ms(minute * MINUTE_MS) for minute in range(0, 600, 10)]
    assert came != sorted(came)
    assert all(0 <= ms - at * 10 * MINUTE_MS <= 2 * HOUR_MS for at, ms in enumerate(came))
