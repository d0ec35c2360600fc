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
