"""What other processes did, as events for the pages that are open here.

Asked for every few seconds, and only while a page is listening: which bins were judged, whether
set-up or journal changed, which readings arrived. A page is told the newest reading of each probe.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from underlid.clock import Clock
from underlid.readings.values import Reading
from underlid.storage.arrivals import Arrivals
from underlid.storage.protocols import ReadingStore
from underlid.storage.records import Records
from underlid.timeline import MINUTE_MS

LOOK_EVERY_S: Final = 2.0

JUDGED_BACK_MS: Final = 10 * MINUTE_MS
"""Judgements looked back at: a worker's clock, or its commit, may be late."""

Publish = Callable[[Mapping[str, object]], None]


class Tail:
    """Follows records and readings; `look` is called by one thread at a time."""

    def __init__(
        self,
        records: Records,
        readings: ReadingStore,
        clock: Clock,
        publish: Publish,
        listening: Callable[[], int],
    ) -> None:
        self._records = records
        self._readings = readings
        self._clock = clock
        self._publish = publish
        self._listening = listening
        self._arrivals: Arrivals | None = None
        self._revision = -1
        self._judged: dict[str, int] = {}

    def look(self) -> None:
        """Tell open pages what has happened since the last look."""
        if not self._listening():
            self._arrivals = None
            return
        now_ms = self._clock.now_ms()
        if self._arrivals is None or self._arrivals.overrun:
            self._begin(now_ms)
            return
        newest: dict[str, Reading] = {}
        for news in self._arrivals.news(now_ms):
            for one in news:
                if one.probe not in newest or newest[one.probe].taken_at_ms <= one.taken_at_ms:
                    newest[one.probe] = one
        for one in newest.values():
            self._publish(
                {
                    "kind": "reading",
                    "probe": one.probe,
                    "shed": one.shed,
                    "at_ms": one.taken_at_ms,
                    "values": one.values,
                }
            )
        judged = self._records.judged_since(now_ms - JUDGED_BACK_MS)
        for bin_id, at_ms in judged.items():
            if self._judged.get(bin_id) != at_ms:
                self._publish({"kind": "judged", "bin": bin_id})
        self._judged = judged
        revision = self._records.revision()
        if revision != self._revision:
            self._revision = revision
            self._publish({"kind": "look"})

    def _begin(self, now_ms: int) -> None:
        """Take the present as known; whoever just opened a page has seen it, others look again."""
        self._arrivals = Arrivals(self._readings, now_ms)
        self._judged = self._records.judged_since(now_ms - JUDGED_BACK_MS)
        self._revision = self._records.revision()
        self._publish({"kind": "look"})
