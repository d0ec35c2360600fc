"""Slows down guessing of passphrases: so many failures per name and per address, then a wait."""

from __future__ import annotations

import threading
from collections import OrderedDict, deque
from typing import Final

FAILURES_MOST: Final = 6
WITHIN_S: Final = 300.0
"""Six tries in five minutes: a person with wet hands gets in, a guesser gets 1,700 a day."""

KEYS_MOST: Final = 4096
"""Names and addresses remembered; beyond it the oldest is forgotten."""


class Attempts:
    """Failures of the last minutes, by key."""

    def __init__(self) -> None:
        self._failures: OrderedDict[str, deque[float]] = OrderedDict()
        self._lock = threading.Lock()

    def wait_s(self, keys: tuple[str, ...], now_s: float) -> float:
        """Return the seconds until another try is allowed; 0 when it is now."""
        with self._lock:
            return max((self._wait_s(key, now_s) for key in keys), default=0.0)

    def failed(self, keys: tuple[str, ...], now_s: float) -> None:
        """Note a failure for each key."""
        with self._lock:
            for key in keys:
                times = self._failures.setdefault(key, deque(maxlen=FAILURES_MOST))
                times.append(now_s)
                self._failures.move_to_end(key)
            while len(self._failures) > KEYS_MOST:
                self._failures.popitem(last=False)

    def forget(self, keys: tuple[str, ...]) -> None:
        """Note that somebody got in."""
        with self._lock:
            for key in keys:
                self._failures.pop(key, None)

    def clear(self) -> None:
        """Forget every failure."""
        with self._lock:
            self._failures.clear()

    def _wait_s(self, key: str, now_s: float) -> float:
        times = self._failures.get(key)
        if times is None or len(times) < FAILURES_MOST:
            return 0.0
        return max(0.0, times[0] + WITHIN_S - now_s)
