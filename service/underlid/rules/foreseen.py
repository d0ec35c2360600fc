"""When a forecast is worth an alert: sure enough, near enough, and not dropped at the first doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from underlid.binmodel.outlook.forecast import Forecast
from underlid.science.numeric import Floats
from underlid.timeline import HOUR_MS

KEEPS: Final = 0.4
"""A foreseen alert stays until the chance is so much below what raised it: then it is more likely not to
come than to come, and a chance that wavers withdraws nothing (our judgement)."""

SURE_MOST: Final = 0.95
"""No forecast is called surer than this: its band says nothing of what nobody thought of (our
judgement)."""

AGAIN_REASON: Final = "expected again"
NOT_AGAIN_REASON: Final = "not expected again"
"""What a finding that is clear says of a thing that was there: two forecasts in a row must say so, since a
chance may waver about the least (`alerts/policy.py`)."""

SAYS_ITSELF: Final = 0.7
"""What is expected again has its chance in the sentence, and was there: no other hedge is needed."""

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


def chance_left(
    forecast: Forecast | None, chances: Floats | None, now_ms: int, reaches: Sequence[Reach]
) -> dict[str, float | str]:
    """Return as evidence the chance of what is not foreseen any more, within the longest reach."""
    if forecast is None or chances is None:
        return {}
    passed_h = forecast.passed_h(now_ms)
    last = min(reaches[-1].hours + passed_h, len(chances)) - 1
    return {"chance_pct": round(100.0 * min(float(chances[last]), SURE_MOST))}


def coming(
    forecast: Forecast, chances: Floats | None, now_ms: int, reaches: Sequence[Reach], *, held: bool
) -> Coming | None:
    """Return what is coming by *chances* (of having reached a limit by 1, 2, … h), if sure enough.

    *held* tells that it has been said already: then less is enough.
    """
    if chances is None:
        return None
    passed_h = forecast.passed_h(now_ms)
    slack = KEEPS if held else 0.0
    for reach in reaches:
        last = min(reach.hours + passed_h, len(chances)) - 1
        chance = float(chances[last])
        if chance >= reach.chance - slack:
            first = int((chances[: last + 1] < chance / 2.0).sum())
            at_ms = forecast.at_ms + (first + 1) * HOUR_MS
            return Coming(max(at_ms, now_ms + HOUR_MS // 2), min(chance, SURE_MOST))
    return None
