"""Whether one value by itself is believable: what a dead, missing or shorted sensor says.

The raw value is stored whatever the answer; judgement does not use a doubtful one. Faults that
take several readings to see (stuck, jumping, silent) are found over the window, not here.
Ranges are those of `channels.py`; the sentinels are the science page's section 7.
"""

from __future__ import annotations

from enum import StrEnum
from math import isfinite
from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.readings.channels import CHANNELS

POWER_ON_C: Final = 85.0
"""What a DS18B20 holds after power-on, before its first conversion (data sheet, from memory)."""

NO_SENSOR_C: Final = -127.0
"""What common driver code returns when no sensor answers (common practice, from memory)."""

ADC_RAILS: Final = (0.0, 1023.0, 4095.0, 65535.0)
"""Ground, and full scale of 10, 12 and 16 bits: an open or shorted soil probe. A probe with more
bits passes 1023 now and then in good health; losing that one sample costs nothing."""


ODD: Final = {
    **{name: (POWER_ON_C, NO_SENSOR_C) for name in CHANNELS if name.endswith("_temp_c")},
    "soil_raw": ADC_RAILS,
}
"""Values in range that no working sensor says."""

BELIEVED: Final = {name: (one.low, one.high, ODD.get(name, ())) for name, one in CHANNELS.items()}
"""The range of each channel, and what in it is not believed."""


class Doubt(StrEnum):
    """Why a value is not believed."""

    NOT_FINITE = "not_finite"
    POWER_ON_VALUE = "power_on_value"
    NO_SENSOR = "no_sensor"
    ADC_RAIL = "adc_rail"
    BELOW_RANGE = "below_range"
    ABOVE_RANGE = "above_range"


def doubt(channel: str, value: float) -> Doubt | None:
    """Return why *value* is not believable on *channel*; None when it is, or is not judged.

    >>> doubt("bed_temp_c", 85.0), doubt("bed_temp_c", 22.4), doubt("co2", 1e9)
    (<Doubt.POWER_ON_VALUE: 'power_on_value'>, None, None)
    """
    known = BELIEVED.get(channel)
    if known is None:
        return None
    low, high, odd = known
    if low <= value <= high and value not in odd:
        return None
    if not isfinite(value):
        return Doubt.NOT_FINITE
    if channel.endswith("_temp_c") and value in (POWER_ON_C, NO_SENSOR_C):
        return Doubt.POWER_ON_VALUE if value == POWER_ON_C else Doubt.NO_SENSOR
    if channel == "soil_raw" and value in ADC_RAILS:
        return Doubt.ADC_RAIL
    if value < low:
        return Doubt.BELOW_RANGE
    return Doubt.ABOVE_RANGE if value > high else None


def believable(channel: str, values: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
    """Return for each of *values* whether `doubt` has nothing against it.

    >>> believable("soil_raw", np.array([0.0, 1843.0, 4095.0]))
    array([False,  True, False])
    """
    known = CHANNELS.get(channel)
    if known is None:
        return np.ones(values.shape, dtype=np.bool_)
    good = (values >= known.low) & (values <= known.high)
    if channel.endswith("_temp_c"):
        good &= (values != POWER_ON_C) & (values != NO_SENSOR_C)
    elif channel == "soil_raw":
        good &= ~np.isin(values, ADC_RAILS)
    return good
