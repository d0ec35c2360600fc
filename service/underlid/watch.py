"""The live tick: readings that are safely stored become verdicts, alerts, messages and states.

`Watch` owns the one `Judge` of this process and the lock around it. Ingest never waits for it:
`take` only puts committed readings into a deque, and the tick works them off. What comes out is
written in one transaction (`Records.save_judgement`) and then handed to the listeners (the live
page, the state topics). Among several workers it judges the sheds it holds a lease on, learns of
readings from the store they share, and writes each bin's state for the pages of others. Read
`judge.py` for the judging itself and `service.py` for the wiring.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from typing import Final

import structlog

from underlid.binmodel.bins import Setup
from underlid.binmodel.derived import Derived
from underlid.clock import Clock
from underlid.journal.units import SI, Units
from underlid.judge import Judge
from underlid.pipeline import Judgement
from underlid.readings.values import Admitted, Reading
from underlid.storage.arrivals import Arrivals
from underlid.storage.protocols import ReadingStore
from underlid.storage.records import Lease, LeaseLostError, Records
from underlid.storage.trouble import StoreError
from underlid.timeline import SECOND_MS
from underlid.workers.filling import fill_while_others_write
from underlid.workers.restart import (
    Act,
    fill,
    part_of,
    restore,
    set_entries,
    set_weather,
    take_over_acts,
)
from underlid.workers.sharing import SHED, Sharing

log = structlog.get_logger(__name__)

INBOX_BATCHES: Final = 100_000
"""Committed batches that may wait for a tick. Beyond it the judge is filled from the store again,
so nothing is lost: the store has them all."""

EMPTY: Final = Setup({}, {}, {})

Listener = Callable[[Judgement], None]


class Watch:
    """Judges this place's bins, or among several workers its share of them, while it runs."""

    def __init__(
        self,
        records: Records,
        readings: ReadingStore,
        clock: Clock,
        *,
        tick_s: float,
        channels: Sequence[str] = (),
        units: Units = SI,
        sharing: Sharing | None = None,
    ) -> None:
        self._records = records
        self._readings = readings
        self._clock = clock
        self._tick_ms = round(tick_s * SECOND_MS)
        self._channels = tuple(channels)
        self._units = units
        self._sharing = sharing
        self._inbox: deque[list[Reading]] = deque()
        self._overflowed = False
        self._arrivals: Arrivals | None = None
        self._lock = threading.Lock()
        self._listeners: list[Listener] = []
        self._revision = -1
        self._place = EMPTY
        self._mine = EMPTY
        self._leases: Mapping[str, Lease] = {}
        self._acts: dict[str, Act] = {}
        self._judge: Judge | None = None
        self.last_tick_at_ms = 0
        self.failures: dict[str, str] = {}
        """Bins that could not be judged the last time they were due, and why."""

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
        """Fill the judge from the store; call before any door opens.

        While the store is away nothing is judged, and readings are taken in all the same: a tick
        tries again.
        """
        with self._lock:
            try:
                self._up_to_date(self._clock.now_ms())
            except StoreError as trouble:
                log.error("nothing can be judged yet", error=str(trouble))
            self.last_tick_at_ms = self._clock.now_ms()

    def tick(self) -> list[Judgement]:
        """Judge what is due now, write it down, tell the listeners."""
        written: list[Judgement] = []
        try:
            with self._lock:
                self._judge_and_write(written)
        finally:
            for one in written:
                self._tell(one)
        return written

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

    def _judge_and_write(self, written: list[Judgement]) -> None:
        """Do a tick's work; *written* gets what is safely stored, also when the rest fails."""
        try:
            judge = self._up_to_date(self._clock.now_ms())
            now_ms = self._clock.now_ms()  # to fill many windows takes minutes
            for one in judge.judge(now_ms):
                self.failures.pop(one.bin, None)
                if self._write(judge, one):
                    written.append(one)
        except _NoNewsError as away:
            raise away.trouble from None
        except Exception:
            self._judge = None  # it may know more than is stored: the next tick begins with that
            raise
        self.last_tick_at_ms = now_ms

    def _write(self, judge: Judge, one: Judgement) -> bool:
        """Store a judgement; False when another worker has taken the shed over."""
        save = partial(
            self._records.save_judgement,
            one.alerts,
            one.transitions,
            one.messages,
            self._channels,
            one.at_ms,
            spells=one.spells,
        )
        if self._sharing is None:
            if one.alerts or one.transitions or one.messages or one.spells:
                save()
            return True
        if one.bin not in self._mine.bins:
            return False
        shed = self._mine.bins[one.bin].shed
        try:
            save(lease=self._leases[shed], state=judge.state(one.bin))
        except LeaseLostError:
            log.warning("another worker has taken a shed over", shed=shed)
            self._mine = part_of(self._mine, self._mine.sheds.keys() - {shed})
            judge.set_setup(self._mine, one.at_ms)
            return False
        return True

    def _tell(self, judgement: Judgement) -> None:
        for listener in self._listeners:
            try:
                listener(judgement)
            except Exception:
                log.exception("a listener failed", bin=judgement.bin)

    def _up_to_date(self, now_ms: int) -> Judge:
        """Return the judge with all news in it: readings, set-up, journal, acts, sheds."""
        judge = self._judge
        if judge is None or self._overflowed or (self._arrivals and self._arrivals.overrun):
            judge = self._begin(now_ms)
        else:
            self._take_news(judge, now_ms)
        revision = self._records.revision()
        changed = revision != self._revision
        if changed:
            self._place = self._records.setup()
        mine = self._my_part(judge, now_ms)
        if changed or mine.sheds.keys() != self._mine.sheds.keys():
            self._adopt(judge, mine, now_ms)
            self._revision = revision
        if self.failures:  # a shed may have gone to another worker without an adoption
            self.failures = {one: why for one, why in self.failures.items() if one in mine.bins}
        self._acts = take_over_acts(judge, self._records, self._acts)
        self._judge = judge
        return judge

    def _begin(self, now_ms: int) -> Judge:
        """Return a judge that knows nothing yet; `_adopt` gives it what is stored."""
        self._inbox.clear()
        self._overflowed = False
        if self._sharing is not None:
            self._arrivals = Arrivals(self._readings, now_ms)
        self._revision = -1
        self._mine = EMPTY
        self._acts = {}
        self.failures.clear()
        return Judge(
            EMPTY, now_ms, tick_ms=self._tick_ms, units=self._units, on_failure=self._note_failure
        )

    def _note_failure(self, bin_id: str, failure: Exception) -> None:
        if bin_id not in self.failures:  # it will be tried again and again
            log.error("a bin cannot be judged", bin=bin_id, exc_info=failure)
        self.failures[bin_id] = type(failure).__name__

    def _my_part(self, judge: Judge, now_ms: int) -> Setup:
        """Return what of the place this worker judges."""
        if self._sharing is None:
            return self._place
        leases = self._sharing.share(SHED, self._place.sheds.keys())
        kept = {name for name, lease in leases.items() if self._leases.get(name) == lease}
        if not self._mine.sheds.keys() <= kept:  # lost; or lost and taken again: begin it anew
            self._mine = part_of(self._mine, kept)
            judge.set_setup(self._mine, now_ms)
        self._leases = leases
        return part_of(self._place, leases.keys())

    def _take_news(self, judge: Judge, now_ms: int) -> None:
        """Give the judge the readings that have come in: here, or into the shared store."""
        while self._inbox:
            judge.add_readings(self._inbox.popleft())
        if self._arrivals is not None:
            news = self._arrivals.news(now_ms)
            while (some := _next_of(news)) is not None:
                judge.add_readings(some)

    def _adopt(self, judge: Judge, mine: Setup, now_ms: int) -> None:
        """Give the judge a new set-up, and of what is new in it all that is stored."""
        known = self._mine.bins.keys()
        new = judge.set_setup(mine, now_ms)
        if self._arrivals is None:
            fill(judge, self._readings, new, now_ms)
        else:
            fill_while_others_write(judge, self._readings, self._arrivals, new, self._clock)
        set_entries(judge, self._records, self._readings, mine, now_ms)
        set_weather(judge, self._records, mine.sheds, now_ms)
        restore(judge, self._records, mine.bins.keys() - known, now_ms)
        self._mine = mine


class _NoNewsError(Exception):
    """The store was away before it told anything: the judge is as good as before."""

    def __init__(self, trouble: StoreError) -> None:
        self.trouble = trouble


def _next_of(news: Iterator[list[Reading]]) -> list[Reading] | None:
    try:
        return next(news, None)
    except StoreError as trouble:
        raise _NoNewsError(trouble) from None
