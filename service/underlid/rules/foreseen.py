"""When a forecast is worth an alert: sure enough, near enough, and not dropped at the first doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from underlid.binmodel.forecast import Forecast
from underlid.science.numeric import Floats
from underlid.timeline import HOUR_MS

KEEPS: Final = 0.3
"""A foreseen alert stays until the chance is so much below what raised it (our judgement)."""

SURE_MOST: Final = 0.95
"""No forecast is called surer than this: its band says nothing of what nobody thought of (our
judgement)."""

STALE_MS: Final = 3 * HOUR_MS
"""An older forecast is not believed: it is made every hour."""


@dataclass(frozen=True, slots=True)
class Reach:
    """Within so many hours, this chance is enough."""

    hours: int
    chance: float


@dataclass(frozen=True, slots=True)
class Coming:
    """A limit that will be reached: the chance, and when it is as likely as not, given it comes."""

    at_ms: int
    chance: float


def fresh(forecast: Forecast | None, now_ms: int) -> Forecast | None:
    """Return the forecast unless it is old."""
    if forecast is None or now_ms - forecast.at_ms > STALE_MS:
        return None
    return forecast


def coming(
    forecast: Forecast, chances: Floats | None, now_ms: int, reaches: Sequence[Reach], *, held: bool
) -> Coming | None:
    """Return what is coming by *chances* (of having reached a limit by 1, 2, … h), if sure enough.

    *held* tells that it has been said already: then less is enough.
    """
    if chances is None:
        return None
    passed_h = (now_ms - forecast.at_ms) // HOUR_MS
    slack = KEEPS if held else 0.0
    for reach in reaches:
        last = min(reach.hours + passed_h, len(chances)) - 1
        chance = float(chances[last])
        if chance >= reach.chance - slack:
            first = int((chances[: last + 1] < chance / 2.0).sum())
            at_ms = forecast.at_ms + (first + 1) * HOUR_MS
            return Coming(max(at_ms, now_ms + HOUR_MS // 2), min(chance, SURE_MOST))
    return None
