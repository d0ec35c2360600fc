"""Single values: sentinels, rails, ranges; and that the array form says the same."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.readings.channels import CHANNELS
from underlid.readings.plausibility import ADC_RAILS, Doubt, believable, doubt


@pytest.mark.parametrize(
    ("channel", "value", "expected"),
    [
        ("bed_temp_c", 22.4, None),
        ("bed_temp_c", 85.0, Doubt.POWER_ON_VALUE),
        ("bed_temp_c", 84.9, Doubt.ABOVE_RANGE),
        ("bed_temp_c", -127.0, Doubt.NO_SENSOR),
        ("bed_temp_c", -10.0, None),
        ("bed_temp_c", -10.1, Doubt.BELOW_RANGE),
        ("headspace_rh_pct", 102.0, None),
        ("headspace_rh_pct", 102.1, Doubt.ABOVE_RANGE),
        ("headspace_rh_pct", 0.0, Doubt.BELOW_RANGE),
        ("headspace_rh_pct", 85.0, None),
        ("soil_raw", 0.0, Doubt.ADC_RAIL),
        ("soil_raw", 4095.0, Doubt.ADC_RAIL),
        ("soil_raw", 1843.0, None),
        ("bed_temp_c", float("nan"), Doubt.NOT_FINITE),
        ("co2", -127.0, None),
    ],
)
def test_single_values(channel: str, value: float, expected: Doubt | None) -> None:
    assert doubt(channel, value) is expected


@given(
    st.sampled_from([*CHANNELS, "co2"]),
    st.lists(st.one_of(st.floats(), st.sampled_from([85.0, -127.0, *ADC_RAILS]))),
)
def test_the_array_form_agrees(channel: str, values: list[float]) -> None:
    """`believable` is `doubt is None`, value by value."""
    array = np.array(values, dtype=np.float64)
    assert believable(channel, array).tolist() == [doubt(channel, v) is None for v in values]
