"""How long a condition must hold before its alert is raised, and be gone before it returns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from underlid.rules.finding import Condition
from underlid.timeline import HOUR_MS, MINUTE_MS


@dataclass(frozen=True, slots=True)
class Delays:
    """On-delay and off-delay in ms, in the sense of IEC 62682."""

    on_ms: int
    off_ms: int


_TEMPERATURE: Final = Delays(20 * MINUTE_MS, 40 * MINUTE_MS)
_MOISTURE: Final = Delays(12 * HOUR_MS, 24 * HOUR_MS)

AT_ONCE: Final = Delays(0, 0)
"""For what is no longer watched."""

DELAYS: Final[dict[Condition, Delays]] = {
    Condition.CONDENSATION: Delays(30 * MINUTE_MS, 60 * MINUTE_MS),
    Condition.OVERHEATING: _TEMPERATURE,
    Condition.TOO_COLD: _TEMPERATURE,
    Condition.DRYING_OUT: _MOISTURE,
    Condition.TOO_WET: _MOISTURE,
    Condition.HUNGRY: Delays(6 * HOUR_MS, 30 * MINUTE_MS),
    Condition.SOUR: _MOISTURE,
    Condition.PROBE_FAULT: Delays(60 * MINUTE_MS, 20 * MINUTE_MS),
}
"""Common practice (science page, section 8); of a probe's fault our judgement: one that saves its
battery and sends once an hour must not be called silent every hour. A written feed ends hunger."""
