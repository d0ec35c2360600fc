"""The live tick: readings that are safely stored become verdicts, alerts, messages and states.

`Watch` owns the one `Judge` of this process and the lock around it. Ingest never waits for it:
`take` only puts committed readings into a deque, and the tick works them off. What comes out is
written in one transaction (`Records.save_judgement`) and then handed to the listeners (the live
page, the state topics). Read `judge.py` for the judging itself and `service.py` for the wiring.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from typing import Final

import structlog

from underlid.binmodel.bins import Setup
from underlid.clock import Clock, monotonic_s
from underlid.journal.units import Units
from underlid.judge import Derived, Judge, Judgement
from underlid.readings.values import Admitted, Reading
from underlid.storage.protocols import ReadingStore
from underlid.storage.records import Records
from underlid.timeline import DAY_MS, MINUTE_MS, SECOND_MS

log = structlog.get_logger(__name__)

WINDOW_DAYS: Final = 15
"""History that a judge is filled with at start: its 14-day window and a day of slack."""

BUCKET_MS: Final = 5 * MINUTE_MS

INBOX_BATCHES: Final = 100_000
"""Committed batches that may wait for a tick. Beyond it the judge is filled from the store again,
so nothing is lost: the store has them all."""

JOURNAL_MOST: Final = 2000
"""Entries of one bin that a window can hold; a keeper writes a handful a day."""

Listener = Callable[[Judgement], None]


class Watch:
    """Judges this place's bins while the service runs."""

    def __init__(
        self,
        records: Records,
        readings: ReadingStore,
        clock: Clock,
        *,
        tick_s: float,
        channels: Sequence[str] = (),
        units: Units | None = None,
    ) -> None:
        self._records = records
        self._readings = readings
        self._clock = clock
        self._tick_s = tick_s
        self._channels = tuple(channels)
        self._units = units
        self._inbox: deque[list[Reading]] = deque()
        self._overflowed = False
        self._lock = threading.Lock()
        self._listeners: list[Listener] = []
        self._revision = -1
        self._judge: Judge | None = None
        self._probes: dict[str, object] = {}
        self.last_tick_s = 0.0
        self.last_tick_at_ms = 0

    def listen(self, listener: Listener) -> None:
        """Call *listener* with every judgement, after it has been written."""
        self._listeners.append(listener)

    def take(self, admitted: Admitted) -> None:
        """Note readings that are on disk; called on the writer thread, never waits."""
        if not admitted.readings:
            return
        if len(self._inbox) >= INBOX_BATCHES:
            self._overflowed = True
            return
        self._inbox.append(admitted.readings)

    def start(self) -> None:
        """Fill the judge from the store; call before any door opens."""
        with self._lock:
            self._refill(self._clock.now_ms())

    def tick(self) -> list[Judgement]:
        """Judge what is due now, write it down, tell the listeners."""
        with self._lock:
            began = monotonic_s()
            now_ms = self._clock.now_ms()
            judge = self._up_to_date(now_ms)
            judgements = judge.judge(now_ms)
            for judgement in judgements:
                self._records.save_judgement(
                    judgement.alerts, judgement.transitions, judgement.messages, self._channels
                )
            self.last_tick_s = monotonic_s() - began
            self.last_tick_at_ms = now_ms
        for judgement in judgements:
            for listener in self._listeners:
                try:
                    listener(judgement)
                except Exception:
                    log.exception("a listener failed", bin=judgement.bin)
        return judgements

    def lag_s(self) -> float:
        """Return the seconds of service time since the last tick ended."""
        return max(0, self._clock.now_ms() - self.last_tick_at_ms) / SECOND_MS

    def state(self, bin_id: str) -> dict[str, object] | None:
        """Return the bin's verdicts and open alerts, as last judged."""
        with self._lock:
            return self._judge.state(bin_id) if self._judge else None

    def derived(self, bin_id: str) -> Derived | None:
        """Return the bin's 5-minute series, computed ones included."""
        with self._lock:
            return self._judge.derived(bin_id) if self._judge else None

    def acknowledge(self, alert_id: str, by: str) -> None:
        """Note that *by* has seen the alert."""
        with self._lock:
            now_ms = self._clock.now_ms()
            self._records.acknowledge(alert_id, by, now_ms)
            if self._judge:
                self._judge.acknowledge(alert_id, by, now_ms)

    def shelve(self, alert_id: str, until_ms: int, by: str) -> None:
        """Keep the alert quiet until *until_ms*."""
        with self._lock:
            now_ms = self._clock.now_ms()
            self._records.shelve(alert_id, until_ms, by, now_ms)
            if self._judge:
                self._judge.shelve(alert_id, until_ms, by, now_ms)

    def _up_to_date(self, now_ms: int) -> Judge:
        """Return the judge with all news in it: set-up, journal, readings."""
        revision = self._records.revision()
        if self._judge is None or self._overflowed:
            return self._refill(now_ms)
        judge = self._judge
        if revision != self._revision:
            setup = self._records.setup()
            if setup.probes != self._probes:
                return self._refill(now_ms)
            judge.set_setup(setup)
            self._set_entries(judge, setup, now_ms)
            self._revision = revision
        while self._inbox:
            judge.add_readings(self._inbox.popleft())
        return judge

    def _refill(self, now_ms: int) -> Judge:
        """Build the judge from what is stored: the path of every start and take-over."""
        self._inbox.clear()
        self._overflowed = False
        self._revision = self._records.revision()
        setup = self._records.setup()
        judge = Judge(
            setup,
            tick_ms=round(self._tick_s * SECOND_MS),
            **({"units": self._units} if self._units else {}),
        )
        start_ms = (now_ms - WINDOW_DAYS * DAY_MS) // BUCKET_MS * BUCKET_MS
        for probe in setup.probes:
            self._fill_probe(judge, probe, start_ms, now_ms)
        self._set_entries(judge, setup, now_ms)
        judge.restore(self._records.open_alerts())
        self._probes = dict(setup.probes)
        self._judge = judge
        return judge

    def _fill_probe(self, judge: Judge, probe: str, start_ms: int, now_ms: int) -> None:
        judge.fill(probe, self._readings.buckets(probe, start_ms, now_ms + BUCKET_MS, BUCKET_MS))

    def _set_entries(self, judge: Judge, setup: Setup, now_ms: int) -> None:
        since_ms = now_ms - WINDOW_DAYS * DAY_MS
        for bin_id in setup.bins:
            judge.set_entries(bin_id, self._records.all_entry_versions(bin_id, since_ms))
