"""A forecast as JSON: every third hour of each course, for programs, the state topic and the page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from underlid.binmodel.outlook.forecast import Course, Forecast
from underlid.science.numeric import Floats
from underlid.timeline import HOUR_MS, SECOND_MS, rfc3339

STEP_H: Final = 3
COURSES: Final = {
    "shed_temp_c": 1,
    "bed_temp_c": 1,
    "lid_film_g_m2": 0,
    "moisture_pct": 1,
}
"""What is told, and with how many decimals."""


def forecast_as_json(forecast: Forecast | None) -> dict[str, object] | None:
    """Return a forecast's courses; None where nothing is foreseen."""
    if forecast is None:
        return None
    courses = {
        name: _course(course, decimals)
        for name, decimals in COURSES.items()
        if (course := getattr(forecast, name)) is not None
    }
    if not courses:
        return None
    return {
        "at": rfc3339(forecast.at_ms),
        "first": rfc3339(forecast.at_ms + STEP_H * HOUR_MS),
        "step_s": STEP_H * HOUR_MS // SECOND_MS,
        "band_pct": 80,
        "channels": courses,
        "chance_pct": {
            "bed_temp_c": _chances(forecast.hot_chance),
            "lid_film_g_m2": _chances(forecast.wet_chance),
        },
    }


def _course(course: Course, decimals: int) -> dict[str, list[float]]:
    return {
        name: values[STEP_H - 1 :: STEP_H].round(decimals).tolist()
        for name, values in (("low", course.low), ("mean", course.middle), ("high", course.high))
    }


def _chances(chances: Mapping[float, Floats]) -> list[dict[str, float]]:
    """Return the chance to pass each limit within 24 and 72 hours, %."""
    return [
        {
            "limit": limit,
            "within_24_h": round(100.0 * float(by_hour[23])),
            "within_72_h": round(100.0 * float(by_hour[-1])),
        }
        for limit, by_hour in chances.items()
    ]
