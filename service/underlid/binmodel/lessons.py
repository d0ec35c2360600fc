"""What a bin has taught us: each value with its uncertainty, what it rests on, and a sentence.

Values only; `learning.py` fits them. A bin that is new, or has no probe for it, gets the prior: what
bins of its kind are like.
"""

from __future__ import annotations

from dataclasses import dataclass


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
    lid_loss_g_m2_h: Lesson
    """What the lid loses beside the condensing flux, g/m²h; negative where it gains."""
    drying_pct_d_kpa: Lesson
    """% points of moisture lost a day per kPa of vapour pressure deficit in the shed."""
    drying_pct_d: Lesson
    """% points lost a day beside that, whatever the shed's air; what a day loses is the sum."""
    eaten_g_d: Lesson
    """Food that disappears in a day at the best temperature; times the herd's activity at another."""
    moisture_sd_pct: Lesson
    """How sure the bed's moisture is after the weighed samples, % points; `value` is the sd."""
    moisture_shift_pct: Lesson
    """What the samples weighed lately add to the moisture that the probes say, % points."""
