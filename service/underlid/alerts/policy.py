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

FORESEEN: Final = Delays(70 * MINUTE_MS, 4 * HOUR_MS)
FORESEEN_HOURLY: Final = (Condition.CONDENSATION, Condition.OVERHEATING, Condition.TOO_COLD)
"""For what is foreseen of lid and heat: two forecasts in a row must say so, since one odd hour makes one
odd forecast; four in a row must deny it before it is withdrawn (our judgement)."""

FORESEEN_SOUR: Final = Delays(3 * HOUR_MS, 24 * HOUR_MS)
"""What a wet feed will do is known when it is written down: no probe's daily wiggle need be waited for."""

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

WATCHFUL_SHARE: Final = 0.5
"""While a herd settles in, what is measured of its bin is told after so much of the on-delay (our
judgement)."""

NOT_HASTENED: Final = (Condition.PROBE_FAULT, Condition.HUNGRY)


def delays_of(
    condition: Condition, *, watchful: bool = False, foreseen: bool = False, again: bool = False
) -> Delays:
    """Return the delays of a condition; *watchful* for a herd that has just been moved.

    *foreseen* tells that it is not there yet; *again* that it was, and a forecast says that it is over.

    >>> delays_of(Condition.OVERHEATING, watchful=True).on_ms // MINUTE_MS
    10
    >>> delays_of(Condition.OVERHEATING, again=True).off_ms // MINUTE_MS
    70
    """
    if foreseen and condition in FORESEEN_HOURLY:
        return FORESEEN
    if foreseen and condition is Condition.SOUR:
        return FORESEEN_SOUR
    delays = DELAYS[condition]
    if again:
        return Delays(delays.on_ms, max(delays.off_ms, FORESEEN.on_ms))
    if not watchful or condition in NOT_HASTENED:
        return delays
    return Delays(round(WATCHFUL_SHARE * delays.on_ms), delays.off_ms)
