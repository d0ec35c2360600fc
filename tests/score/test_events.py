"""True events: beyond the grey zone for long enough, stretches close together as one."""

from __future__ import annotations

import numpy as np
import pytest

from underlid.rules.finding import Condition
from underlid.score.events import events_of, fault_event, is_blind, joined
from underlid.score.watched import Watched, day_mean
from underlid.simulate.sensors import Fault, FaultKind
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

START_MS = 1_772_323_200_000
AT_MS = START_MS + np.arange(3 * 288) * 5 * MINUTE_MS


def heat(*stretches: tuple[float, float, float]) -> Watched:
    """A bed 5 K below its limit but for (from hour, to hour, kelvin beyond)."""
    hours = (AT_MS - START_MS) / HOUR_MS
    beyond = np.full(len(hours), -5.0)
    for begin, end, value in stretches:
        beyond[(hours >= begin) & (hours < end)] = value
    return Watched(Condition.OVERHEATING, beyond, 0.7, 0.7, 3.0)


def at(hour: float) -> int:
    return START_MS + round(hour * HOUR_MS)


def test_an_event_has_its_start_at_the_limit_and_its_deadline_from_the_far_side() -> None:
    (event,) = events_of(heat((30, 32, 0.3), (32, 36, 2.0), (36, 38, 0.2)), AT_MS)
    assert event.start_ms == at(30)
    assert event.end_ms == at(38) - 5 * MINUTE_MS
    assert event.deadline_ms == at(32) + 20 * MINUTE_MS + 2 * HOUR_MS
    assert event.peak == 2.0
    assert event.alarm_ms is None


def test_the_grey_zone_and_short_peaks_make_no_event() -> None:
    assert events_of(heat((30, 40, 0.6)), AT_MS) == []
    assert events_of(heat((30, 30.4, 3.0)), AT_MS) == []
    assert len(events_of(heat((30, 30.6, 3.0)), AT_MS)) == 1


def test_stretches_within_the_off_delay_are_one_and_the_first_day_is_left_out() -> None:
    assert len(events_of(heat((30, 33, 2.0), (33.5, 36, 2.0)), AT_MS)) == 1
    assert len(events_of(heat((30, 33, 2.0), (35, 36, 2.0)), AT_MS)) == 2
    assert events_of(heat((20, 40, 2.0)), AT_MS) == []


def test_a_deadline_waits_for_readings_that_come_late() -> None:
    late = Fault("bin", FaultKind.LATE, at(30), at(45))
    (event,) = events_of(heat((32, 60, 2.0)), AT_MS, [late])
    assert event.deadline_ms == at(45) + 20 * MINUTE_MS + 2 * HOUR_MS
    shuffled = Fault("bin", FaultKind.SHUFFLED, at(30), at(45), size=6.0)
    (event,) = events_of(heat((32, 60, 2.0)), AT_MS, [shuffled])
    assert event.deadline_ms == at(35) + 20 * MINUTE_MS + 2 * HOUR_MS


def test_the_alarm_limit_has_its_own_time() -> None:
    (event,) = events_of(heat((30, 33, 1.0), (33, 36, 3.5)), AT_MS)
    assert event.alarm_ms == at(33)


def test_joined_keeps_first_and_last() -> None:
    flags = np.array([False, True, True, False, False, True, False])
    at_ms = np.arange(7) * 5 * MINUTE_MS
    assert joined(flags, at_ms, 0) == [(1, 2), (5, 5)]
    assert joined(flags, at_ms, 20 * MINUTE_MS) == [(1, 5)]


@pytest.mark.parametrize(
    ("kind", "channel", "hours", "blind"),
    [
        (FaultKind.STUCK, "bed_temp_c", (29, 40), True),
        (FaultKind.STUCK, "bed_temp_c", (29, 30.5), False),
        (FaultKind.STUCK, "soil_raw", (29, 40), False),
        (FaultKind.SPIKE, "bed_temp_c", (29, 40), False),
        (FaultKind.PULLED_OUT, "", (29, 40), True),
        (FaultKind.SILENT, "", (29, 40), True),
    ],
)
def test_an_event_is_blind_when_its_channel_is_faulty(
    kind: FaultKind, channel: str, hours: tuple[float, float], blind: bool
) -> None:
    (event,) = events_of(heat((30, 36, 2.0)), AT_MS)
    fault = Fault("bin-1", kind, at(hours[0]), at(hours[1]), channel)
    assert is_blind(event, [fault]) is blind


def test_a_fault_of_the_air_probe_does_not_blind_the_bed() -> None:
    (event,) = events_of(heat((30, 36, 2.0)), AT_MS)
    assert not is_blind(event, [Fault("air", FaultKind.SILENT, at(29), at(40))])


def test_late_readings_are_no_fault_to_tell_of() -> None:
    assert fault_event(Fault("p", FaultKind.LATE, 0, HOUR_MS), DAY_MS) is None
    assert fault_event(Fault("p", FaultKind.SATURATED, 0, HOUR_MS), DAY_MS) is None
    event = fault_event(Fault("p", FaultKind.STUCK, 0, 99 * DAY_MS), DAY_MS)
    assert event is not None
    assert event.end_ms == DAY_MS


def test_a_day_mean_looks_back_only() -> None:
    values = np.concatenate([np.zeros(288), np.ones(288)])
    means = day_mean(values, 5 * MINUTE_MS)
    assert means[287] == 0.0
    assert means[287 + 144] == pytest.approx(0.5)
    assert means[-1] == pytest.approx(1.0)
