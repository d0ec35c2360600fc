"""From a probe's own numbers to physical ones: fits to make a calibration, and the applying.

Every calibration is a line, calibrated = gain · raw + offset, so that means and roll-ups can be
calibrated after the fact. Values may be floats or arrays. Which probe has which calibration from
when to when is in `binmodel.probes.calibrated`; raw values are never overwritten.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

from underlid.errors import UnderlidError
from underlid.science import moisture

Number = TypeVar("Number", float, npt.NDArray[np.float64])

SALT_RH_PCT: Final[dict[str, float]] = {
    "LiCl": 11.3,
    "MgCl2": 32.8,
    "K2CO3": 43.2,
    "NaBr": 57.6,
    "NaCl": 75.3,
    "KCl": 84.3,
    "K2SO4": 97.3,
}
"""Relative humidity over saturated salt solutions at 25 °C, %RH.
Source: Greenspan 1977, J. Res. NBS 81A:89, read in a secondary table."""

SATURATED_PCT: Final = 100.0

GAIN_SPAN: Final = (0.2, 5.0)
"""A sensor further off is broken or the points were mixed up (our judgement)."""


@dataclass(frozen=True, slots=True)
class Line:
    """calibrated = gain · raw + offset."""

    gain: float
    offset: float

    def apply(self, raw: Number) -> Number:
        """Return *raw* calibrated, unclipped."""
        return self.gain * raw + self.offset


def two_point(raw: tuple[float, float], true: tuple[float, float]) -> Line:
    """Return the line through two points; for humidity, two salts.

    Check value: science page section 7, computed.

    >>> salts = two_point((36.1, 73.0), (32.78, 75.29))
    >>> round(salts.gain, 5), round(salts.offset, 3), round(salts.apply(90.0), 2)
    (1.15203, -8.808, 94.87)
    """
    if raw[0] == raw[1]:
        raise UnderlidError(
            "second raw value",
            value=raw[1],
            expected="another than the first",
            next_step="Measure at two points that differ.",
        )
    gain = (true[1] - true[0]) / (raw[1] - raw[0])
    if not GAIN_SPAN[0] <= gain <= GAIN_SPAN[1]:
        raise UnderlidError(
            "slope between the points",
            value=gain,
            expected=f"{GAIN_SPAN[0]} to {GAIN_SPAN[1]}",
            next_step="Check that the points are not mixed up, and wait until readings are steady.",
        )
    return Line(gain, true[0] - gain * raw[0])


def one_point(raw: float, true: float) -> Line:
    """Return the offset that takes *raw* to *true*: an ice point, or a reference beside it.

    >>> one_point(0.4, 0.0)
    Line(gain=1.0, offset=-0.4)
    """
    return Line(1.0, true - raw)


def clip_humidity_pct(rh_pct: Number) -> Number:
    """Return humidity for showing, 0 to 100; keep the unclipped value for judging the sensor.

    >>> clip_humidity_pct(103.2)
    100.0
    """
    if isinstance(rh_pct, np.ndarray):
        return np.clip(rh_pct, 0.0, SATURATED_PCT)
    return min(max(rh_pct, 0.0), SATURATED_PCT)


def soil_index(raw: Number, dry_raw: float, wet_raw: float) -> Number:
    """Return the soil index: 0 at *dry_raw* (in air), 1 at *wet_raw* (in water).

    Check values: science page section 5, computed.

    >>> soil_index(1950.0, 2750.0, 1150.0), round(soil_index(2900.0, 2750.0, 1150.0), 3)
    (0.5, -0.094)
    """
    return soil_index_line(dry_raw, wet_raw).apply(raw)


def soil_index_line(dry_raw: float, wet_raw: float) -> Line:
    """Return the line from raw counts to soil index."""
    if dry_raw == wet_raw:
        raise UnderlidError(
            "wet reading",
            value=wet_raw,
            expected="another than the dry one",
            next_step="Read the probe once in air and once in water.",
        )
    gain = 1.0 / (wet_raw - dry_raw)
    return Line(gain, -dry_raw * gain)


def sample_moisture_pct(wet_g: float, dry_g: float) -> float:
    """Return `science.moisture.sample_moisture_pct`, refusing weights that no scale shows.

    >>> sample_moisture_pct(10.0, 2.3)
    77.0
    """
    if not 0.0 <= dry_g <= wet_g or wet_g == 0.0:
        raise UnderlidError(
            "dry weight",
            value=dry_g,
            expected=f"0 to {wet_g:g} g, the weight before drying",
            next_step="Subtract the weight of the dish from both, and check the order.",
        )
    return round(moisture.sample_moisture_pct(wet_g, dry_g), 6)
