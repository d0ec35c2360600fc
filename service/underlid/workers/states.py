"""What a page shows of bins that this process does not judge: states and series from what is stored.

A bin's verdicts are what its judge last wrote. Its 5-minute series are computed here, by a judge of
one shed that is filled like any other, writes nothing, and is kept for a minute.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any, Final

import structlog

from underlid.binmodel.derived import Derived
from underlid.clock import Clock, monotonic_s
from underlid.journal.units import SI, Units
from underlid.judge import Judge
from underlid.storage.protocols import ReadingStore
from underlid.storage.records import Records
from underlid.timeline import SECOND_MS
from underlid.workers.restart import fill, part_of, set_entries

log = structlog.get_logger(__name__)

KEPT_S: Final = 60.0
KEPT_MOST: Final = 16
"""Sheds whose windows are kept for the next look: some tens of megabytes (our judgement)."""


@dataclass(frozen=True, slots=True)
class _Kept:
    judge: Judge
    until_s: float


class StoredStates:
    """Stands in for the live judge where the page is another process."""

    def __init__(
        self, records: Records, readings: ReadingStore, clock: Clock, units: Units = SI
    ) -> None:
        self._records = records
        self._readings = readings
        self._clock = clock
        self._units = units
        self._kept: OrderedDict[str, _Kept] = OrderedDict()
        self._lock = threading.Lock()

    def state(self, bin_id: str) -> dict[str, Any] | None:
        """Return the bin's verdicts and open alerts, as last judged by whoever judges it."""
        return self._records.bin_state(bin_id)

    def derived(self, bin_id: str) -> Derived | None:
        """Return the bin's 5-minute series, at most a minute old."""
        setup = self._records.setup()
        if bin_id not in setup.bins:
            return None
        shed = setup.bins[bin_id].shed
        with self._lock:
            kept = self._kept.pop(shed, None)
            if kept is None or kept.until_s < monotonic_s():
                kept = _Kept(self._filled(shed), monotonic_s() + KEPT_S / self._clock.speed)
            self._kept[shed] = kept
            while len(self._kept) > KEPT_MOST:
                self._kept.popitem(last=False)
            return kept.judge.derived(bin_id)

    def acknowledge(self, alert_id: str, by: str) -> None:
        """Note that *by* has seen the alert; its judge reads it at the next tick."""
        self._records.acknowledge(alert_id, by, self._clock.now_ms())

    def shelve(self, alert_id: str, until_ms: int, by: str) -> None:
        """Keep the alert quiet until *until_ms*; its judge reads it at the next tick."""
        self._records.shelve(alert_id, until_ms, by, self._clock.now_ms())

    def lag_s(self) -> float:
        """Return the seconds since the last judgement of any bin, 0 before the first."""
        last_ms = self._records.last_judged_ms()
        return 0.0 if last_ms is None else max(0, self._clock.now_ms() - last_ms) / SECOND_MS

    def _filled(self, shed: str) -> Judge:
        now_ms = self._clock.now_ms()
        place = part_of(self._records.setup(), {shed})
        judge = Judge(place, now_ms, units=self._units, on_failure=_leave_out)
        fill(judge, self._readings, list(place.probes), now_ms)
        set_entries(judge, self._records, self._readings, place, now_ms)
        judge.judge(now_ms)
        return judge


def _leave_out(bin_id: str, failure: Exception) -> None:
    log.error("a bin cannot be drawn", bin=bin_id, exc_info=failure)
