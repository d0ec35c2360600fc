"""The air of a simulated shed: season, day, slow noise, and spells that a scenario orders.

Deterministic in its seed and smooth in time, so that a smaller step sees the same weather.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, pi
from random import Random
from typing import Final, Protocol

from underlid.simulate.headspace import Around, saturated_kg_m3
from underlid.timeline import DAY_MS, HOUR_MS

YEAR_MS: Final = 365.2425 * DAY_MS
COLDEST_DAY: Final = 20
"""Day of the year, northern half of the world (common practice)."""

WARMEST_HOUR: Final = 15.0

NOISE_HOURS: Final = 3
"""Noise is drawn every so many hours and joined by straight lines."""

NOISE_KEEPS: Final = 0.92
"""Share of the noise that is still there at the next draw: weather lasts for a day and a half."""


@dataclass(frozen=True, slots=True)
class Turn:
    """The air is *shift_k* warmer from one time to another, with ramps of *ramp_h* hours."""

    from_ms: int
    until_ms: int
    shift_k: float
    ramp_h: float = 6.0
    again_ms: int = 0
    """It comes again every so often; 0 for never."""

    def at(self, at_ms: int) -> float:
        """Return the shift at *at_ms*, kelvin."""
        since_ms = at_ms - self.from_ms
        if self.again_ms and since_ms > 0:
            since_ms %= self.again_ms
        rising = since_ms / HOUR_MS / self.ramp_h
        falling = (self.until_ms - self.from_ms - since_ms) / HOUR_MS / self.ramp_h
        return self.shift_k * min(1.0, max(0.0, min(rising, falling)))


@dataclass(frozen=True, slots=True)
class Climate:
    """The air of a shed in the long run."""

    mean_c: float = 18.5
    season_k: float = 0.0
    """Half the difference between summer and winter; 0 for a demo that must not depend on the date."""
    day_k: float = 2.0
    """Half the difference between afternoon and night."""
    noise_k: float = 0.8
    rh_pct: float = 62.0
    warmest_hour: float = WARMEST_HOUR
    """UTC: it depends on where the shed stands."""


class Air(Protocol):
    """The air around bins over time."""

    def at(self, at_ms: int) -> Around:
        """Return the air at *at_ms*, not before the start."""
        ...


class Weather:
    """The air of one shed over time."""

    def __init__(
        self, climate: Climate, seed: str, start_ms: int, turns: Sequence[Turn] = ()
    ) -> None:
        self.climate = climate
        self.turns = list(turns)
        self._start_ms = start_ms
        self._random = Random(seed)
        self._noise: list[float] = [self._random.gauss(0.0, climate.noise_k)]

    def at(self, at_ms: int) -> Around:
        """Return the air at *at_ms*, not before the start."""
        climate = self.climate
        season = cos(2.0 * pi * (at_ms % YEAR_MS - COLDEST_DAY * DAY_MS) / YEAR_MS)
        day = cos(2.0 * pi * (at_ms % DAY_MS / HOUR_MS - climate.warmest_hour) / 24.0)
        slow = climate.mean_c - climate.season_k * season + self._noise_k(at_ms)
        shift = sum(turn.at(at_ms) for turn in self.turns)
        temp_c = slow + climate.day_k * day + shift
        vapour = saturated_kg_m3(slow + 0.5 * shift) * climate.rh_pct / 100.0
        return Around(temp_c, min(vapour, saturated_kg_m3(temp_c)))

    def _noise_k(self, at_ms: int) -> float:
        steps = (at_ms - self._start_ms) / (NOISE_HOURS * HOUR_MS)
        before = int(steps)
        while len(self._noise) < before + 2:
            fresh = self._random.gauss(0.0, self.climate.noise_k * (1.0 - NOISE_KEEPS**2) ** 0.5)
            self._noise.append(NOISE_KEEPS * self._noise[-1] + fresh)
        share = steps - before
        return self._noise[before] * (1.0 - share) + self._noise[before + 1] * share
