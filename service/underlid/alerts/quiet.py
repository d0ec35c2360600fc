"""Quiet hours: the part of the day in which what can wait is not told, on the wall clock of its shed."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo
from typing import Final

from underlid.rules.finding import Priority
from underlid.timeline import SECOND_MS

LOUD: Final = frozenset({Priority.HIGH, Priority.CRITICAL})
"""What is told at any hour: it wants somebody today, or at once."""

SAID: Final = re.compile(r"([01]\d|2[0-3]):([0-5]\d)-([01]\d|2[0-3]):([0-5]\d)")


@dataclass(frozen=True, slots=True)
class QuietHours:
    """From one time of the day to another, over midnight when the second is earlier; alike, never."""

    begin: time
    end: time

    @classmethod
    def of(cls, said: str) -> QuietHours | None:
        """Return the hours that *said* names, None for none; ValueError for something else.

        >>> QuietHours.of("22:00-07:30")
        QuietHours(begin=datetime.time(22, 0), end=datetime.time(7, 30))
        """
        if not said:
            return None
        found = SAID.fullmatch(said)
        if found is None:
            message = "quiet hours are written like 22:00-07:00"
            raise ValueError(message)
        begin_h, begin_min, end_h, end_min = (int(part) for part in found.groups())
        return cls(time(begin_h, begin_min), time(end_h, end_min))

    def until_ms(self, at_ms: int, zone: tzinfo) -> int | None:
        """Return when the quiet hours that *at_ms* lies in end; None outside of them."""
        now = datetime.fromtimestamp(at_ms / SECOND_MS, zone)
        clock = now.time()
        over_night = self.begin > self.end
        begun, unended = clock >= self.begin, clock < self.end
        if not (begun or unended if over_night else begun and unended):
            return None
        day = now.date() + timedelta(days=1 if over_night and clock >= self.begin else 0)
        ends = datetime.combine(day, self.end, zone).replace(fold=now.fold)
        return round(ends.timestamp() * SECOND_MS)
