"""Where the time comes from: the only file that may ask the machine what time it is.

All other code takes the time as an argument (core) or takes a `Clock` (edges), so that a replay,
a test and a demo run the same code at another pace. Times inside are whole milliseconds since
1970-01-01 UTC, named `…_at_ms`; people and files see RFC 3339.
"""

from __future__ import annotations

import asyncio
import time
from typing import Protocol

from underlid.timeline import SECOND_MS


class Clock(Protocol):
    """Tells the time, and how many seconds of it pass in one second of the wall."""

    speed: float

    def now_ms(self) -> int:
        """Return the present in milliseconds since 1970 UTC."""
        ...


class SystemClock:
    """The machine's own clock."""

    speed = 1.0

    def now_ms(self) -> int:
        """Return the machine's time in milliseconds since 1970 UTC."""
        return time.time_ns() // 1_000_000


class VirtualClock:
    """A clock that stands still until it is set: for tests of what runs live."""

    speed = 1.0

    def __init__(self, now_ms: int) -> None:
        self._now_ms = now_ms

    def now_ms(self) -> int:
        """Return the time it was last set to."""
        return self._now_ms

    def set_ms(self, now_ms: int) -> None:
        """Move to *now_ms*; a clock never goes back."""
        self._now_ms = max(self._now_ms, now_ms)


class ScaledClock:
    """Runs *speed* times as fast as the wall, from *start_ms* on: the demo's clock."""

    def __init__(self, start_ms: int, speed: float) -> None:
        self._start_ms = start_ms
        self._began = time.monotonic()
        self.speed = speed

    def now_ms(self) -> int:
        """Return the scaled time in milliseconds since 1970 UTC."""
        return self._start_ms + round((time.monotonic() - self._began) * self.speed * SECOND_MS)


async def pause(seconds: float) -> None:
    """Wait *seconds* of the wall; the one allowed sleep."""
    await asyncio.sleep(seconds)


def monotonic_s() -> float:
    """Return seconds on a clock that never goes back, for time-outs and durations."""
    return time.monotonic()
