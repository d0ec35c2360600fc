"""Weather outside a shed as the keeper supplies it: measured hours, forecast hours, or both.

Each row carries when it was received, so that a replay knows no forecast before it was made. Of several
rows for one hour the one received last counts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.science.numeric import Floats
from underlid.timeline import HOUR_MS

ROWS_MOST: Final = 20_000
"""Rows of one shed that are held: two weeks and three days ahead, sent anew every half an hour."""

COLDEST_C: Final = -60.0
HOTTEST_C: Final = 60.0
"""Air beyond these is a mistake: none was measured where bins are kept (our judgement)."""

APART_MOST_H: Final = 3
"""Between rows that lie farther apart nothing is known (three-hourly forecasts are common)."""


@dataclass(frozen=True, slots=True)
class WeatherRow:
    """The air outside at one moment, °C."""

    at_ms: int
    received_at_ms: int
    temp_c: float


@dataclass(frozen=True, slots=True)
class Weather:
    """Rows by the time they tell of, and of one time by when they were received."""

    at_ms: npt.NDArray[np.int64]
    received_at_ms: npt.NDArray[np.int64]
    temp_c: Floats

    @classmethod
    def of(cls, rows: Iterable[WeatherRow]) -> Weather:
        """Return the newest `ROWS_MOST` of *rows*, in any order."""
        ordered = sorted(rows, key=lambda one: (one.at_ms, one.received_at_ms))[-ROWS_MOST:]
        return cls(
            np.array([one.at_ms for one in ordered], dtype=np.int64),
            np.array([one.received_at_ms for one in ordered], dtype=np.int64),
            np.array([one.temp_c for one in ordered], dtype=np.float64),
        )

    def hourly(self, middle_ms: int, hours: int, known_ms: int) -> Floats:
        """Return the temperature at *hours* moments, an hour apart from *middle_ms* on; NaN unknown.

        Only what had been received by *known_ms* counts.
        """
        known = self.received_at_ms <= known_ms
        times, values = self.at_ms[known], self.temp_c[known]
        if not len(times):
            return np.full(hours, np.nan)
        last = np.append(times[1:] != times[:-1], True)
        times, values = times[last], values[last]
        wanted = middle_ms + np.arange(hours, dtype=np.int64) * HOUR_MS
        result: Floats = np.interp(wanted, times, values, left=np.nan, right=np.nan)
        after = np.minimum(np.searchsorted(times, wanted), len(times) - 1)
        before = np.maximum(np.searchsorted(times, wanted, side="right") - 1, 0)
        result[times[after] - times[before] > APART_MOST_H * HOUR_MS] = np.nan
        return result
