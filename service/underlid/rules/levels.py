"""Which of several ascending limits a value is beyond, with a deadband on the way back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from underlid.rules.finding import Priority

MIDDLE_OF: Final = 3


def middle(values: Sequence[float]) -> float:
    """Return the median of the last few values, so that one spike is out; of fewer than three the newest.

    A probe that sends seldom would lag by its whole interval otherwise; its spikes are left out before
    (`binmodel.trust`).

    >>> middle([22.0, 45.0, 22.1]), middle([27.4, 26.9])
    (22.1, 26.9)
    """
    return sorted(values)[len(values) // 2] if len(values) >= MIDDLE_OF else values[-1]


def level(
    value: float,
    limits: Sequence[tuple[float, Priority]],
    open_priority: Priority | None,
    deadband: float,
) -> Priority | None:
    """Return the priority of the highest limit that *value* has reached, or None.

    Parameters
    ----------
    value
        What is watched; for a lower limit give both value and limits with the sign turned.
    limits
        (limit, priority), ascending.
    open_priority
        Priority of the alert that is open already: its limit, and those below, are left only at
        limit − deadband, so that a value on the limit does not chatter.
    deadband
        In the unit of *value*.

    Source: exclusive level alarms with deadband, [opcua-part9].

    >>> limits = [(85.0, Priority.HIGH), (100.0, Priority.CRITICAL)]
    >>> level(96.0, limits, Priority.CRITICAL, 5.0), level(94.0, limits, Priority.CRITICAL, 5.0)
    (<Priority.CRITICAL: 'critical'>, <Priority.HIGH: 'high'>)
    """
    reached: Priority | None = None
    for limit, priority in limits:
        held = open_priority is not None and open_priority.rank >= priority.rank
        if value >= (limit - deadband if held else limit):
            reached = priority
    return reached
