"""What a bin has taught us: each value with its uncertainty, what it rests on, and a sentence.

Values only; `learning.py` fits them. A bin that is new, or has no probe for it, gets the prior: what
bins of its kind are like.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Final

from underlid.timeline import rfc3339

UNITS: Final = {
    "time_constant_h": "h",
    "head_share": "",
    "lid_factor": "",
    "lid_air_m_h": "m/h",
    "drying_pct_d": "% points/d",
    "drying_pct_d_kpa": "% points/(d kPa)",
    "deficit_kpa": "kPa",
    "eaten_g_d": "g/d",
    "herd_pace": "",
    "herd_times": "",
    "moisture_sd_pct": "% points",
    "moisture_shift_pct": "% points",
}


@dataclass(frozen=True, slots=True)
class Lesson:
    """One value with its standard deviation; `count` observations in [from_ms, until_ms)."""

    value: float
    sd: float
    text: str
    count: int = 0
    """0: nothing learnt yet, value and sd are the prior."""
    from_ms: int | None = None
    until_ms: int | None = None

    @property
    def learnt(self) -> bool:
        """Tell whether data stands behind the value."""
        return self.count > 0


@dataclass(frozen=True, slots=True)
class Lessons:
    """Everything one bin has taught until `at_ms`."""

    at_ms: int
    time_constant_h: Lesson
    """τ = C/UA of the bed, from quiet periods."""
    head_share: Lesson
    """(headspace − shed)/(bed − shed): how far the headspace follows the bed."""
    lid_factor: Lesson
    """Temperature factor of the lid, 0 (as the shed) .. 1 (as the headspace)."""
    lid_air_m_h: Lesson
    """Air that bin and shed exchange, m³ an hour for each m² of lid."""
    drying_pct_d_kpa: Lesson
    """% points of moisture lost a day more for each kPa of vapour pressure deficit beyond
    `deficit_kpa`."""
    drying_pct_d: Lesson
    """% points lost a day at `deficit_kpa`; negative where a bed gets wetter."""
    deficit_kpa: Lesson
    """Mean vapour pressure deficit of the shed's air."""
    eaten_g_d: Lesson
    """Food that disappears in a day at the best temperature; times the herd's activity at another."""
    herd_pace: Lesson
    """How likely the herd sets the pace at which feeds go, not rotting; before any look at them."""
    herd_times: Lesson
    """How many times as long a feed lasts then as the herd's appetite says."""
    moisture_sd_pct: Lesson
    """How sure the bed's moisture is after the weighed samples, % points; `value` is the sd."""
    moisture_shift_pct: Lesson
    """What the samples weighed lately add to the moisture that the probes say, % points."""

    def each(self) -> Iterator[tuple[str, str, Lesson]]:
        """Yield name, unit and lesson of everything there is, in the order in which it is shown."""
        for field in fields(self):
            if field.name in UNITS:
                yield field.name, UNITS[field.name], getattr(self, field.name)

    def as_json(self) -> dict[str, object]:
        """Return all lessons for programs, by name."""
        return {
            name: {
                "value": one.value,
                "sd": one.sd,
                "unit": unit,
                "learnt": one.learnt,
                "count": one.count,
                "from": None if one.from_ms is None else rfc3339(one.from_ms),
                "until": None if one.until_ms is None else rfc3339(one.until_ms),
                "text": one.text,
            }
            for name, unit, one in self.each()
        }
