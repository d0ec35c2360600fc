"""What a page shows of bins that this process does not judge: states and series from what is stored.

A bin's verdicts are what its judge last wrote. Its 5-minute series come from a judge that is kept for
looking only (`kept_judges.py`).
"""

from __future__ import annotations

from typing import Any

from underlid.binmodel.derived import Derived, derive
from underlid.clock import Clock
from underlid.journal.units import SI, Units
from underlid.storage.protocols import ReadingStore
from underlid.storage.records import Records
from underlid.timeline import SECOND_MS
from underlid.workers.kept_judges import KeptJudges


class StoredStates:
    """Stands in for the live judge where the page is another process."""

    def __init__(
        self, records: Records, readings: ReadingStore, clock: Clock, units: Units = SI
    ) -> None:
        self._records = records
        self._clock = clock
        self._judges = KeptJudges(records, readings, clock, units)

    def state(self, bin_id: str) -> dict[str, Any] | None:
        """Return the bin's verdicts and open alerts, as last judged by whoever judges it."""
        return self._records.bin_state(bin_id)

    def derived(self, bin_id: str) -> Derived | None:
        """Return the bin's 5-minute series, at most a minute old."""
        return self._judges.ask(bin_id, lambda window, memory: derive(window, memory.film))

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
