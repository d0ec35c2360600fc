"""From what a probe said to physical values, on the way out: the calibrations of its place.

Used by the judge's window, by charts and by exports alike. The lines themselves are made in
`readings.calibration` and `readings.moisture_line`. A soil probe without weighed samples gets the
usual line: good for trends, not for levels, as its sd shows.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from typing import Final

import numpy as np

from underlid.binmodel.bins import ProbePlace
from underlid.readings.calibration import Line, soil_index_line
from underlid.readings.moisture_line import Bent, moisture_fit
from underlid.science.numeric import Floats, Integers

MOISTURE_PROBE_SD_PCT: Final = 3.0
"""Of a probe that says moisture itself (our judgement)."""


def calibrate(
    place: ProbePlace, taken_at_ms: Integers, values: Mapping[str, Floats]
) -> dict[str, Floats]:
    """Return *values* of a probe calibrated, with soil index and moisture where they follow.

    A probe's own moisture wins over one made from its soil channel.

    >>> place = ProbePlace("p", "s", "b", soil_dry_raw=2750.0, soil_wet_raw=1150.0,
    ...                    soil_points=((0.40, 62.0), (0.62, 78.0)))
    >>> out = calibrate(place, np.array([0]), {"soil_raw": np.array([1950.0])})
    >>> out["soil_index"].round(2).tolist(), out["moisture_pct"].round(1).tolist()
    ([0.5], [69.6])
    """
    out = {name: _apply(place, name, taken_at_ms, raw) for name, raw in values.items()}
    dry, wet = place.soil_dry_raw, place.soil_wet_raw
    if "soil_raw" in out and "soil_index" not in out and dry is not None and wet not in (None, dry):
        assert wet is not None
        index = soil_index_line(dry, wet).apply(out["soil_raw"])
        out["soil_index"] = _apply(place, "soil_index", taken_at_ms, index)
    if "soil_index" in out and "moisture_pct" not in out:
        curve = index_curve(place)
        if curve is not None:
            moisture = np.clip(curve.apply(out["soil_index"]), 0.0, 100.0)
            out["moisture_pct"] = _apply(place, "moisture_pct", taken_at_ms, moisture)
    return out


def index_curve(place: ProbePlace) -> Bent | None:
    """Return the way from soil index to moisture; None when the weighed samples contradict."""
    fit = moisture_fit(place.soil_points)
    return fit.curve if fit is not None else None


def moisture_sd_pct(
    place: ProbePlace, channels: Container[str], moisture_pct: float | None
) -> float | None:
    """Return how sure the moisture of a probe with these raw channels is, % points.

    The further its value is from the weighed samples, the less; None when it says no moisture.
    """
    if "moisture_pct" in channels:
        return MOISTURE_PROBE_SD_PCT
    if "soil_index" not in channels and "soil_raw" not in channels:
        return None
    fit = moisture_fit(place.soil_points)
    if fit is None:
        return None
    return fit.sd_pct(fit.level_pct if moisture_pct is None else moisture_pct)


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
