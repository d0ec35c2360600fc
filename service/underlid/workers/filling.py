"""A judge's windows filled from a store into which others go on writing: every reading in it once.

A reading that is in the store when a window is filled must not be added to that window once more. So
probes are filled some at a time, and those of which readings came in meanwhile are filled again, one
by one, before the next ones have their turn. Without others, `restart.fill` is all it takes.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

from underlid.clock import Clock
from underlid.judge import Judge
from underlid.storage.arrivals import Arrivals
from underlid.storage.protocols import ReadingStore
from underlid.workers.restart import fill

PROBES_AT_ONCE: Final = 20
"""From InfluxDB some eight seconds (measured with 1.6.7): few of them report in that time."""

FILLS_MOST: Final = 5
"""Times that a probe is filled again because readings came in while it was."""


def fill_while_others_write(
    judge: Judge,
    readings: ReadingStore,
    arrivals: Arrivals,
    probes: Sequence[str],
    clock: Clock,
) -> None:
    """Fill the windows of *probes*; all others get what *arrivals* brings meanwhile.

    It may take minutes, so the clock is looked at again each time.
    """
    unfilled = set(probes)

    def filled(some: Collection[str]) -> set[str]:
        """Fill the windows of *some*; return those of which readings came in meanwhile."""
        fill(judge, readings, sorted(some), clock.now_ms())
        again: set[str] = set()
        for news in arrivals.news(clock.now_ms()):
            judge.add_readings([one for one in news if one.probe not in unfilled])
            again |= {one.probe for one in news if one.probe in some}
        return again

    for first in range(0, len(probes), PROBES_AT_ONCE):
        lot = frozenset(probes[first : first + PROBES_AT_ONCE])
        again = filled(lot)
        unfilled -= lot - again
        for probe in sorted(again):
            for _ in range(FILLS_MOST):
                if not filled({probe}):
                    break
            unfilled.discard(probe)
