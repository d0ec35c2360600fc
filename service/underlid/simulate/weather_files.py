"""The air of a shed from an hourly outdoor record: typical years that come with `pvlib`.

The building holds the weather back (first order) and is a little warmer than outdoors. The records
are read when they are asked for; without `pvlib` the families that need them are left out.
"""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from math import exp
from pathlib import Path
from typing import Final

from underlid.errors import UnderlidError
from underlid.simulate.draw import Draw
from underlid.simulate.headspace import Around, saturated_kg_m3
from underlid.timeline import HOUR_MS

MIAMI: Final = "12839.tm2"
"""Miami, TMY2."""

PIEDMONT: Final = "723170TYA.CSV"
"""Greensboro, TMY3."""

SETTLE_H: Final = 240
"""Hours of the record that go before, so that the building has forgotten how it began."""


TMY2_TENTHS: Final = 10.0
"""Temperatures of the older format are whole tenths of a degree."""


class RecordedAir:
    """Hourly values joined by straight lines, the first at `start_ms`."""

    def __init__(self, start_ms: int, temps_c: list[float], vapours_kg_m3: list[float]) -> None:
        self._start_ms = start_ms
        self._temps_c = temps_c
        self._vapours = vapours_kg_m3

    def at(self, at_ms: int) -> Around:
        """Return the air at *at_ms*."""
        hours = (at_ms - self._start_ms) / HOUR_MS
        before = min(int(hours), len(self._temps_c) - 2)
        share = hours - before
        temp_c = self._temps_c[before] * (1.0 - share) + self._temps_c[before + 1] * share
        vapour = self._vapours[before] * (1.0 - share) + self._vapours[before + 1] * share
        return Around(temp_c, min(vapour, saturated_kg_m3(temp_c)))


def have_records() -> bool:
    """Tell whether the outdoor records can be read."""
    return find_spec("pvlib") is not None


def shed_air(
    record: str, draw: Draw, start_ms: int, days_of_year: tuple[int, int], heated_k: float = 0.0
) -> RecordedAir:
    """Return a shed's air from a stretch of *record* that begins in *days_of_year*.

    *heated_k* is what the house adds beside the sun on the roof.
    """
    hours = _hours(record)
    first = draw.whole("day of record", *days_of_year) * 24
    keeps_h = draw.between("building", 4.0, 30.0)
    warmer_k = heated_k + draw.between("warmer", 0.0, 3.5)
    keeps = exp(-1.0 / keeps_h)
    keeps_air = exp(-1.0 / draw.between("draught", 1.0, 6.0))
    temp_c, dew_c = hours[(first - SETTLE_H) % len(hours)]
    vapour = saturated_kg_m3(dew_c)
    temps_c, vapours = [], []
    for hour in range(first - SETTLE_H, first + 40 * 24):
        out_c, dew_c = hours[hour % len(hours)]
        temp_c = out_c + (temp_c - out_c) * keeps
        fresh = saturated_kg_m3(dew_c)
        vapour = fresh + (vapour - fresh) * keeps_air
        if hour >= first:
            temps_c.append(temp_c + warmer_k)
            vapours.append(vapour)
    return RecordedAir(start_ms, temps_c, vapours)


@cache
def _hours(record: str) -> list[tuple[float, float]]:
    """Return (dry bulb, dew point) °C of every hour of a typical year."""
    if not have_records():
        raise UnderlidError(
            "outdoor record",
            value=record,
            expected="the package pvlib",
            next_step="Install underlid[weather].",
        )
    import pvlib

    path = Path(pvlib.__file__).parent / "data" / record
    if record.endswith(".tm2"):
        frame, _ = pvlib.iotools.read_tmy2(str(path))
        temps, dews = frame["DryBulb"] / TMY2_TENTHS, frame["DewPoint"] / TMY2_TENTHS
    else:
        frame, _ = pvlib.iotools.read_tmy3(str(path), map_variables=True, coerce_year=2021)
        temps, dews = frame["temp_air"], frame["temp_dew"]
    return list(zip(map(float, temps), map(float, dews), strict=True))
