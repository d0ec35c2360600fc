"""Hands events to every open page, from any thread: one bounded queue a stream.

Events are small dictionaries with a `kind` ("reading", "rejected", "judged", "journal"). A page that
does not read fast enough loses its oldest events and is told to look again ("look"), so that one
sleeping phone costs a fixed amount of memory. The stream itself is `api/stream.py`.
"""

from __future__ import annotations

import asyncio
import threading
from collections import deque
from collections.abc import Mapping
from typing import Final

WAITING_MOST: Final = 200
"""Events that may wait for one page: some 100 kB. A page that lags further reads its state anew."""

STREAMS_MOST: Final = 500
"""Open streams of one process; a club has a few dozen (our judgement)."""

Event = Mapping[str, object]


class Stream:
    """One open page's queue."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._wake = asyncio.Event()
        self._waiting: deque[Event] = deque()
        self._lock = threading.Lock()
        self._closed = False

    def put(self, event: Event) -> None:
        """Add *event*; called from any thread."""
        with self._lock:
            if len(self._waiting) >= WAITING_MOST:
                self._waiting.clear()
                event = {"kind": "look"}
            self._waiting.append(event)
        self._rouse()

    def close(self) -> None:
        """End the stream; called from any thread."""
        self._closed = True
        self._rouse()

    async def next(self, within_s: float) -> list[Event] | None:
        """Return what waits, [] when nothing came *within_s*, None when the stream has ended."""
        try:
            async with asyncio.timeout(within_s):
                await self._wake.wait()
        except TimeoutError:
            return None if self._closed else []
        self._wake.clear()
        if self._closed:
            return None
        with self._lock:
            events = list(self._waiting)
            self._waiting.clear()
        return events

    def _rouse(self) -> None:
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._wake.set)


class Hub:
    """All open streams of this process."""

    def __init__(self) -> None:
        self._streams: set[Stream] = set()
        self._lock = threading.Lock()
        self._closed = False
        self._told = 0

    @property
    def open_streams(self) -> int:
        """Return how many pages are listening."""
        return len(self._streams)

    @property
    def told(self) -> int:
        """Return how many events there have been: a page made before an event has missed it."""
        return self._told

    def missed(self) -> bool:
        """Tell whether nobody is listening; then it is noted that something happened."""
        with self._lock:
            if not self._streams:
                self._told += 1
            return not self._streams

    def publish(self, event: Event) -> None:
        """Hand *event* to every open page; never waits, never raises."""
        with self._lock:
            self._told += 1
            streams = list(self._streams)
        for stream in streams:
            stream.put(event)

    def open(self) -> Stream | None:
        """Open a stream on the running loop; None when there are too many, or we are stopping."""
        with self._lock:
            if self._closed or len(self._streams) >= STREAMS_MOST:
                return None
            stream = Stream(asyncio.get_running_loop())
            self._streams.add(stream)
            return stream

    def shut(self, stream: Stream) -> None:
        """Forget *stream*."""
        with self._lock:
            self._streams.discard(stream)

    def close(self) -> None:
        """End every stream, so that the server can stop."""
        with self._lock:
            self._closed = True
            streams = list(self._streams)
        for stream in streams:
            stream.close()
