"""A lid that is lifted is an event: no fault, and not taken for drying."""

from __future__ import annotations

import numpy as np
import pytest

from binmodel.faulty import START_MS, Series, healthy, watched
from underlid.binmodel.probes.hot import BUCKET_MS
from underlid.timeline import HOUR_MS

LIFTED = (30.0, 54.5, 77.25, 101.4)


def opened(step_min: float, minutes: float = 20.0) -> Series:
    made = healthy(5, step_min)
    for hour in LIFTED:
        off = (made.hours >= hour) & (made.hours < hour + minutes / 60.0)
        gap = made.values["shed_temp_c"][off] - made.values["headspace_temp_c"][off]
        made.values["headspace_temp_c"][off] += 0.6 * gap
        made.values["headspace_rh_pct"][off] -= 20.0
    return made


@pytest.mark.parametrize("step_min", [1, 5])
def test_a_lifted_lid_is_seen_with_its_time_and_is_no_fault(step_min: int) -> None:
    bin_, told = watched(opened(step_min))
    assert told == []
    hours = [(one.from_bucket * BUCKET_MS - START_MS) / HOUR_MS for one in bin_.trust.opened]
    assert hours == pytest.approx(list(LIFTED), abs=0.1)
    lasted = [(one.until_bucket or 0) - one.from_bucket for one in bin_.trust.opened]
    assert all(3 <= one <= 6 for one in lasted)
    bucket = bin_.trust.opened_at()
    assert bucket is not None
    humid = bin_.window(120.0).means("headspace_rh_pct", 120 * 12)
    assert np.nanmin(humid) > 85.0


def test_many_lids_lifted_in_a_day_for_half_an_hour_are_no_spikes() -> None:
    made = healthy(4, 10.0)
    humid, warm = made.values["headspace_rh_pct"], made.values["headspace_temp_c"]
    for hour in (50.1, 53.2, 56.4, 60.3, 64.6):
        off = (made.hours >= hour) & (made.hours < hour + 0.4)
        humid[off] -= 22.0
        warm[off] += 0.7 * (made.values["shed_temp_c"][off] - warm[off])
    bin_, told = watched(made)
    assert told == []
    assert sum(one.sure for one in bin_.trust.opened) == 5


@pytest.mark.parametrize("step_min", [10, 15])
def test_with_slow_probes_it_is_a_single_value_left_out_and_still_no_fault(step_min: int) -> None:
    bin_, told = watched(opened(step_min, 12.0))
    assert told == []
    assert np.nanmin(bin_.window(120.0).means("headspace_rh_pct", 120 * 12)) > 85.0


def test_a_lid_left_open_is_how_things_are_after_a_while() -> None:
    bin_, told = watched(opened(5, 8 * 60.0), until_h=36.0)
    assert told == []
    humid = bin_.window(36.0).means("headspace_rh_pct", 12)
    assert np.nanmean(humid) == pytest.approx(72.0, abs=3.0)
