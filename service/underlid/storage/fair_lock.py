"""A lock that its holder cannot take again while another waits.

`threading.Lock` lets a thread that works in a loop take it again and again: deleting in slices of a
millisecond kept a commit waiting for 150.
"""

from __future__ import annotations

import threading
from types import TracebackType


class FairLock:
    """Whoever waits holds the queue, so that the next one to come has to wait behind it."""

    def __init__(self) -> None:
        self._queue = threading.Lock()
        self._lock = threading.Lock()

    def __enter__(self) -> None:
        with self._queue:
            self._lock.acquire()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._lock.release()
