"""What a bin will do in the next 72 hours: courses with an 80 % band, an hour a step, and chances.

`foresee` is a pure function of what was known at its moment of the hour: window, film, trend, lessons. So a
restart and a replay foresee the same. The parts are in `outlook/`; start with `outlook/hours.py`, then
`outlook/warmth.py`; when each is made is in `outlook/hourly.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.binmodel.lids.film import LidFilm
from underlid.binmodel.outlook.hours import AHEAD_H, at_hours
from underlid.binmodel.outlook.lid_outlook import FilmAhead, film_ahead
from underlid.binmodel.outlook.moisture_outlook import moisture_ahead
from underlid.binmodel.outlook.shed_outlook import Ahead
from underlid.binmodel.outlook.spread import SHAPES, band
from underlid.binmodel.outlook.warmth import Warmth, warmth_ahead
from underlid.binmodel.water.drying import Drying
from underlid.binmodel.window import BinWindow
from underlid.science.numeric import Floats
from underlid.timeline import HOUR_MS

SURE_H: Final = 48
"""Hours without which no chance of a wet lid is told: the humidity sensor is not known yet (our
judgement)."""

BEYOND_K: Final = 0.35
BEYOND_G_M2: Final = 10.0
"""So far beyond a limit a course must go to count: half the deadband of a bed's heat, and so much of a
film as nobody sees (our judgement)."""


@dataclass(frozen=True, slots=True)
class Course:
    """One quantity's future: n hourly values, the first one hour ahead, with an 80 % band."""

    middle: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is foreseen at `at_ms`, from what was known then; None where the data does not say."""

    at_ms: int
    shed_temp_c: Course | None
    bed_temp_c: Course | None
    lid_film_g_m2: Course | None
    moisture_pct: Course | None
    own_heat_k: Floats | None = None
    """How much of the bed's temperature ahead is its own warmth, K."""
    hot_chance: dict[float, Floats] = field(default_factory=dict)
    """Limit in °C -> the chance that the bed has gone beyond it by 1, 2, … hours ahead."""
    cold_chance: dict[float, Floats] = field(default_factory=dict)
    """Limit in °C -> the chance that it has gone below it by then."""
    wet_chance: dict[float, Floats] = field(default_factory=dict)
    """Limit in g/m² -> the same of the lid's film."""

    def passed_h(self, now_ms: int) -> int:
        """Return how many of the hours foreseen lie behind *now_ms*."""
        return (now_ms - self.at_ms) // HOUR_MS


def foresee(
    window: BinWindow, film: LidFilm, drying: Drying | None, warmth: Warmth | None = None
) -> Forecast:
    """Return what is foreseen at `window.now_ms`; *warmth* as of then or shortly before."""
    warmth = warmth or warmth_ahead(window)
    shed, bed = warmth.shed, warmth.bed
    wet = film_ahead(window, film, warmth)
    limits = window.limits
    hot_limits = (limits.hot_warn_c, limits.hot_alarm_c, limits.hot_critical_c)
    wet_limits = (limits.film_warn_g_m2, limits.film_alarm_g_m2)
    beds = None if bed is None else _bed_members(bed)
    return Forecast(
        warmth.at_ms,
        _course(shed),
        _course(bed),
        _film_course(wet),
        moisture_course(drying),
        None if bed is None else at_hours(bed.own_k),
        {} if beds is None else _chances(beds, hot_limits, BEYOND_K),
        {} if beds is None else _cold_chance(beds, limits.cold_warn_c),
        _chances(wet.members, wet_limits, BEYOND_G_M2) if wet and wet.hours >= SURE_H else {},
    )


def _course(ahead: Ahead | None) -> Course | None:
    if ahead is None:
        return None
    middle, half = at_hours(ahead.mean), at_hours(ahead.half)
    return Course(middle, middle - half, middle + half)


def _film_course(ahead: FilmAhead | None) -> Course | None:
    if ahead is None:
        return None
    ordered = np.sort(ahead.members, axis=0)
    count = len(ordered)
    # Copies: a view would keep every course in memory for the hour.
    return Course(
        (ordered[count // 2 - 1] + ordered[count // 2]) / 2.0,
        ordered[count // 10].copy(),
        ordered[count - 1 - count // 10].copy(),
    )


def moisture_course(drying: Drying | None) -> Course | None:
    """Return the moisture ahead; None where nothing is known of it."""
    if drying is None:
        return None
    middle, sd = moisture_ahead(drying)
    low, high = band(middle, sd)
    return Course(middle, np.maximum(low, 0.0), np.minimum(high, 100.0))


def _bed_members(bed: Ahead) -> Floats:
    members: Floats = at_hours(bed.mean) + SHAPES[:, :AHEAD_H] * at_hours(bed.sd)
    return members


def _chances(members: Floats, limits: tuple[float, ...], beyond: float) -> dict[float, Floats]:
    """Return for each limit the share of courses that have gone beyond it, by hour."""
    peaks = np.maximum.accumulate(members, axis=1)
    return {limit: _share(peaks >= limit + beyond) for limit in limits}


def _cold_chance(members: Floats, limit_c: float) -> dict[float, Floats]:
    """Return the share of courses that have gone below the limit, by hour."""
    lowest = np.minimum.accumulate(members, axis=1)
    return {limit_c: _share(lowest <= limit_c - BEYOND_K)}


def _share(courses: npt.NDArray[np.bool_]) -> Floats:
    """Return by hour the share of courses: whole numbers below 256 are added in a byte each."""
    count = np.add.reduce(courses.view(np.uint8), axis=0, dtype=np.uint8)
    result: Floats = count.astype(np.float64) / len(courses)
    return result
