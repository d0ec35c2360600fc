"""What a bin will do in the next 72 hours: courses with an 80 % band, an hour a step."""

from __future__ import annotations

from dataclasses import dataclass

from underlid.science.numeric import Floats


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
