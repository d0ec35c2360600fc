"""From what a probe said to physical values, on the way out: the calibrations of its place.

Used by the judge's window, by charts and by exports alike. The lines themselves are made in
`readings.calibration`. A soil probe without weighed samples gets a prior line: good for trends,
not for levels, and marked so by `moisture_grade`.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.binmodel.bins import ProbePlace
from underlid.readings.calibration import Line, moisture_line, soil_index_line

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

PRIOR_LINE: Final = Line(gain=72.0, offset=33.0)
"""Moisture from soil index when nobody has weighed a sample: 0.4 → 62 %, 0.65 → 80 % (our
judgement; capacitive probes in bedding differ by ±8 % points)."""


class MoistureGrade(StrEnum):
    """What a moisture value rests on."""

    PROBE = "probe"
    WEIGHED = "weighed"
    ONE_POINT = "one_point"
    PRIOR = "prior"


MOISTURE_SD_PCT: Final[dict[MoistureGrade, float]] = {
    MoistureGrade.PROBE: 3.0,
    MoistureGrade.WEIGHED: 3.0,
    MoistureGrade.ONE_POINT: 5.0,
    MoistureGrade.PRIOR: 8.0,
}
"""Standard deviation of a moisture value, % points (our judgement)."""


def calibrate(
    place: ProbePlace, taken_at_ms: Integers, values: Mapping[str, Floats]
) -> dict[str, Floats]:
    """Return *values* of a probe calibrated, with soil index and moisture where they follow.

    A probe's own moisture wins over one made from its soil channel.

    >>> place = ProbePlace("p", "s", "b", soil_dry_raw=2750.0, soil_wet_raw=1150.0,
    ...                    soil_points=((0.40, 62.0), (0.62, 78.0)))
    >>> out = calibrate(place, np.array([0]), {"soil_raw": np.array([1950.0])})
    >>> out["soil_index"].round(2).tolist(), out["moisture_pct"].round(1).tolist()
    ([0.5], [69.3])
    """
    out = {name: _apply(place, name, taken_at_ms, raw) for name, raw in values.items()}
    dry, wet = place.soil_dry_raw, place.soil_wet_raw
    if "soil_raw" in out and "soil_index" not in out and dry is not None and wet not in (None, dry):
        assert wet is not None
        index = soil_index_line(dry, wet).apply(out["soil_raw"])
        out["soil_index"] = _apply(place, "soil_index", taken_at_ms, index)
    if "soil_index" in out and "moisture_pct" not in out:
        line = index_line(place)
        if line is not None:
            moisture = np.clip(line.apply(out["soil_index"]), 0.0, 100.0)
            out["moisture_pct"] = _apply(place, "moisture_pct", taken_at_ms, moisture)
    return out


def index_line(place: ProbePlace) -> Line | None:
    """Return the line from soil index to moisture; None when the weighed samples contradict."""
    points = place.soil_points
    if not points:
        return PRIOR_LINE
    if len({index for index, _ in points}) == 1:
        mean = sum(moisture for _, moisture in points) / len(points)
        return Line(PRIOR_LINE.gain, mean - PRIOR_LINE.gain * points[0][0])
    return moisture_line(points)


def moisture_grade(place: ProbePlace, channels: Mapping[str, object]) -> MoistureGrade:
    """Return what the moisture of a probe with these raw channels rests on."""
    if "moisture_pct" in channels:
        return MoistureGrade.PROBE
    kinds = len({index for index, _ in place.soil_points})
    if kinds >= 2:
        return MoistureGrade.WEIGHED
    return MoistureGrade.ONE_POINT if kinds else MoistureGrade.PRIOR


def _apply(place: ProbePlace, channel: str, taken_at_ms: Integers, raw: Floats) -> Floats:
    """Apply the calibrations of one channel, each to its span of time."""
    out = raw
    for calibration in place.calibrations:
        if calibration.channel != channel:
            continue
        line = Line(calibration.gain, calibration.offset)
        if calibration.from_ms <= 0 and calibration.until_ms is None:
            out = line.apply(raw)
            continue
        within = taken_at_ms >= calibration.from_ms
        if calibration.until_ms is not None:
            within &= taken_at_ms < calibration.until_ms
        out = np.where(within, line.apply(raw), out)
    return out
