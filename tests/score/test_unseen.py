"""A fault that changes no reading is outside of what must be found."""

from __future__ import annotations

from dataclasses import replace

import pytest
from msgspec.structs import replace as other

from underlid.score.unseen import is_unseen
from underlid.simulate.families.catalogue import FAMILIES
from underlid.simulate.sensors import Fault, FaultKind
from underlid.timeline import HOUR_MS


@pytest.mark.parametrize(("hours", "unseen"), [(0.03, True), (-0.07, True), (0.2, False)])
def test_a_clock_that_is_off_by_less_than_a_bucket_changes_nothing(
    hours: float, *, unseen: bool
) -> None:
    fault = Fault("bin-1", FaultKind.WRONG_CLOCK, 0, HOUR_MS, size=hours)
    assert is_unseen(fault, "fault-wrong-clock", 101, []) is unseen


def test_a_humidity_sensor_that_sticks_while_it_is_saturated_cannot_be_seen() -> None:
    sketch = FAMILIES["fault-stuck"](103)
    (stuck,) = sketch.faults
    assert stuck.channel == "headspace_rh_pct"
    readings = sketch.place().run(stuck.from_ms + 6 * HOUR_MS).readings
    fault = replace(stuck, until_ms=stuck.from_ms + 6 * HOUR_MS)
    assert is_unseen(fault, "fault-stuck", 103, readings)
    lower = [
        other(one, values=one.values | {"headspace_rh_pct": 90.0})
        if one.probe == "bin-1" and fault.holds(one.taken_at_ms)
        else one
        for one in readings
    ]
    assert not is_unseen(fault, "fault-stuck", 103, lower)
    few = [
        one if one.taken_at_ms < fault.from_ms + 6 * HOUR_MS - sketch.every_ms else changed
        for one, changed in zip(readings, lower, strict=True)
    ]
    spike = replace(fault, kind=FaultKind.SPIKE)
    assert is_unseen(spike, "fault-stuck", 103, few)
    assert not is_unseen(spike, "fault-stuck", 103, lower)
