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

import numpy as np
import structlog

from underlid.alerts.alert import Alert
from underlid.binmodel.bins import Setup
from underlid.binmodel.hot import BUCKET_MS
from underlid.clock import Clock, monotonic_s
from underlid.journal.units import SI, Units
from underlid.judge import Derived, Judge
from underlid.pipeline import Judgement
from underlid.readings.admission import AHEAD_MOST_MS
from underlid.readings.values import Admitted, Reading
from underlid.storage.protocols import Buckets, ReadingStore
from underlid.storage.records import Records
from underlid.timeline import DAY_MS, SECOND_MS

log = structlog.get_logger(__name__)

WINDOW_DAYS: Final = 14
INBOX_BATCHES: Final = 100_000
"""Committed batches that may wait for a tick. Beyond it the judge is filled from the store again,
so nothing is lost: the store has them all."""

RETURNED_MOST: Final = 1000
"""Newest alerts looked through for those that returned within a day."""

Act = tuple[int | None, str, int | None]
"""When and by whom an alert was acknowledged, and until when it is shelved."""

UNTOUCHED: Final[Act] = (None, "", None)

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
        units: Units = SI,
    ) -> None:
        self._records = records
        self._readings = readings
        self._clock = clock
        self._tick_ms = round(tick_s * SECOND_MS)
        self._channels = tuple(channels)
        self._units = units
        self._inbox: deque[list[Reading]] = deque()
        self._overflowed = False
        self._lock = threading.Lock()
        self._listeners: list[Listener] = []
        self._revision = -1
        self._acts: dict[str, Act] = {}
        self._judge: Judge | None = None
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
            self.last_tick_at_ms = self._clock.now_ms()

    def tick(self) -> list[Judgement]:
        """Judge what is due now, write it down, tell the listeners."""
        with self._lock:
            began = monotonic_s()
            now_ms = self._clock.now_ms()
            judge = self._up_to_date(now_ms)
            judgements = judge.judge(now_ms)
            for one in judgements:
                if one.alerts or one.transitions or one.messages:
                    self._records.save_judgement(
                        one.alerts, one.transitions, one.messages, self._channels, one.at_ms
                    )
            self.last_tick_s = monotonic_s() - began
            self.last_tick_at_ms = now_ms
        for one in judgements:
            self._tell(one)
        return judgements

    def lag_s(self) -> float:
        """Return the seconds of service time since the last tick."""
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
                self._judge.shelve(alert_id, until_ms)

    def _tell(self, judgement: Judgement) -> None:
        for listener in self._listeners:
            try:
                listener(judgement)
            except Exception:
                log.exception("a listener failed", bin=judgement.bin)

    def _up_to_date(self, now_ms: int) -> Judge:
        """Return the judge with all news in it: set-up, journal, readings."""
        if self._judge is None or self._overflowed:
            return self._refill(now_ms)
        judge = self._judge
        while self._inbox:
            judge.add_readings(self._inbox.popleft())
        revision = self._records.revision()
        if revision != self._revision:
            setup = self._records.setup()
            self._fill(judge, judge.set_setup(setup, now_ms), now_ms)
            self._set_entries(judge, setup, now_ms)
            self._revision = revision
        self._take_over_acts(judge)
        return judge

    def _take_over_acts(self, judge: Judge) -> None:
        """Tell the judge what people did to alerts by another door, such as the command line."""
        acts: dict[str, Act] = {}
        for one in self._records.open_alerts():
            acts[one.id] = act = (
                one.acknowledged_at_ms,
                one.acknowledged_by,
                one.shelved_until_ms,
            )
            if self._acts.get(one.id, UNTOUCHED) == act:
                continue
            if one.acknowledged_at_ms is not None:
                judge.acknowledge(one.id, one.acknowledged_by, one.acknowledged_at_ms)
            if one.shelved_until_ms is not None:
                judge.shelve(one.id, one.shelved_until_ms)
        self._acts = acts

    def _refill(self, now_ms: int) -> Judge:
        """Build the judge from what is stored: the path of every start and take-over."""
        self._inbox.clear()
        self._overflowed = False
        self._revision = self._records.revision()
        setup = self._records.setup()
        judge = Judge(setup, now_ms, tick_ms=self._tick_ms, units=self._units)
        self._fill(judge, list(setup.probes), now_ms)
        self._set_entries(judge, setup, now_ms)
        since_ms = now_ms - WINDOW_DAYS * DAY_MS
        judge.restore(
            [*self._records.open_alerts(), *self._returned_since(now_ms - DAY_MS)],
            [
                spell
                for bin_id in setup.bins
                for spell in self._records.spells(bin_id, since_ms, now_ms + 1)
            ],
        )
        self._judge = judge
        return judge

    def _returned_since(self, since_ms: int) -> list[Alert]:
        """Return the alerts that returned lately: what was told of them counts for the day."""
        recent = self._records.alerts(most=RETURNED_MOST)
        return [one for one in recent if (one.returned_at_ms or 0) > since_ms]

    def _fill(self, judge: Judge, probes: Sequence[str], now_ms: int) -> None:
        """Give the judge what the store knows of *probes*."""
        first_ms = now_ms - WINDOW_DAYS * DAY_MS
        last_ms = now_ms + AHEAD_MOST_MS
        filled = self._readings.buckets_of_all(probes, first_ms, last_ms, BUCKET_MS)
        for probe, buckets in filled:
            seen = self._readings.probe_seen(probe)
            if seen is not None:
                judge.fill(
                    probe,
                    buckets,
                    seen.last_taken_at_ms,
                    seen.last_values,
                    usual_interval_ms(buckets),
                )

    def _set_entries(self, judge: Judge, setup: Setup, now_ms: int) -> None:
        since_ms = now_ms - WINDOW_DAYS * DAY_MS
        for bin_id in setup.bins:
            judge.set_entries(bin_id, self._records.all_entry_versions(bin_id, since_ms))


def usual_interval_ms(buckets: Buckets) -> float:
    """Return how often a probe speaks, from how its readings fall into buckets; 0 if unknown."""
    counts = np.zeros(len(buckets.start_ms), np.int64)
    for count in buckets.count.values():
        counts = np.maximum(counts, count)
    spoken = np.flatnonzero(counts)[-DAY_MS // buckets.step_ms :]
    if len(spoken) < 2:
        return 0.0
    per_bucket = float(np.median(counts[spoken]))
    if per_bucket > 1.0:
        return buckets.step_ms / per_bucket
    return float(np.median(np.diff(spoken))) * buckets.step_ms
