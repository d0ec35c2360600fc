"""Judges for looking only: of one shed each, filled from the store like any other, kept for a minute.

They write nothing and tell nobody. A page asks them what it may not ask the live judge: the one of
another process, or one that would have to be changed for the answer.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import Final

import structlog

from underlid.clock import Clock, monotonic_s
from underlid.journal.units import SI, Units
from underlid.judge import Judge
from underlid.memory import Answer, Question
from underlid.storage.protocols import ReadingStore
from underlid.storage.records import Records
from underlid.workers.restart import fill, part_of, set_entries

log = structlog.get_logger(__name__)

KEPT_S: Final = 60.0
KEPT_MOST: Final = 16
"""Sheds whose windows are kept for the next look: some tens of megabytes (our judgement)."""


@dataclass(frozen=True, slots=True)
class _Kept:
    judge: Judge
    until_s: float


class KeptJudges:
    """Answers questions about any bin of the place, as it was at most a minute ago."""

    def __init__(
        self, records: Records, readings: ReadingStore, clock: Clock, units: Units = SI
    ) -> None:
        self._records = records
        self._readings = readings
        self._clock = clock
        self._units = units
        self._kept: OrderedDict[str, _Kept] = OrderedDict()
        self._lock = threading.Lock()

    def ask(self, bin_id: str, question: Question[Answer]) -> Answer | None:
        """Return the answer of one bin; None when it is not set up or cannot be judged."""
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
            return kept.judge.ask(bin_id, question)

    def _filled(self, shed: str) -> Judge:
        now_ms = self._clock.now_ms()
        place = part_of(self._records.setup(), {shed})
        judge = Judge(place, now_ms, units=self._units, on_failure=_leave_out)
        fill(judge, self._readings, list(place.probes), now_ms)
        set_entries(judge, self._records, self._readings, place, now_ms)
        judge.judge(now_ms)
        return judge


def _leave_out(bin_id: str, failure: Exception) -> None:
    log.error("a bin cannot be looked at", bin=bin_id, exc_info=failure)
