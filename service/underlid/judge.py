"""All bins of a process, judged by one deterministic object without I/O and without a clock.

`watch` drives it live, `replay` by the data's own time. It judges on whole ticks, and a bin only when a
bucket has closed, journal or late data changed the past, or a delay has run out: `pipeline.evaluate`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from underlid.alerts.alert import Alert, AlertState, Spell
from underlid.alerts.life import deadline_ms
from underlid.alerts.policy import delays_of
from underlid.alerts.together import Told
from underlid.bin_state import bin_state
from underlid.binmodel.bins import Setup
from underlid.binmodel.derived import Derived, derive
from underlid.binmodel.facts import Facts, bins_reached, facts_of, probes_watched
from underlid.binmodel.outlook.forecast import Forecast
from underlid.binmodel.outlook.weather import Weather
from underlid.binmodel.probes.filled_buckets import FilledBuckets
from underlid.binmodel.probes.hot import BUCKET_MS, HotProbe
from underlid.binmodel.probes.vitals import Vitals
from underlid.binmodel.probes.weighed import Read, weighed_before_ms
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry
from underlid.journal.known import known_at
from underlid.journal.units import SI, Units
from underlid.memory import Answer, BinMemory, Question
from underlid.pauses import Pauses
from underlid.pipeline import Judgement, evaluate
from underlid.readings.values import Reading
from underlid.timeline import MINUTE_MS

OnFailure = Callable[[str, Exception], None]
"""Takes a bin that could not be judged, and why."""


class Judge:
    """Holds the hot window of every probe that has a place, and the memory of every bin."""

    def __init__(
        self,
        setup: Setup,
        now_ms: int,
        *,
        tick_ms: int = MINUTE_MS,
        units: Units = SI,
        on_failure: OnFailure | None = None,
    ) -> None:
        """Begin with a set-up; *on_failure* takes what went wrong with a bin, else it is raised."""
        self._on_failure = on_failure
        self._tick_ms = tick_ms
        self._units = units
        self._probes: dict[str, HotProbe] = {}
        self._vitals: dict[str, Vitals] = {}
        self._memories: dict[str, BinMemory] = {}
        self._entries: dict[str, tuple[Entry, ...]] = {}
        self._changed: set[str] = set()
        self._due_ms: dict[str, int] = {}
        self._weather: dict[str, Weather] = {}
        self._facts: dict[str, Facts] = {}
        self._shed_told: dict[str, Told] = {}
        self._pauses = Pauses()
        self.set_setup(setup, now_ms)

    def set_setup(self, setup: Setup, now_ms: int) -> list[str]:
        """Take a set-up over; return the probes that are new in it, for `fill`."""
        self._setup = setup
        before, self._facts = self._facts, facts_of(setup)
        self._bins_of = {probe: bins_reached(setup, probe) for probe in setup.probes}
        self._watched = probes_watched(self._facts.values())
        self._shed_told = {shed: self._shed_told.get(shed, Told()) for shed in self._watched}
        new = [probe for probe in setup.probes if probe not in self._probes]
        for probe in self._probes.keys() - setup.probes.keys():
            del self._probes[probe], self._vitals[probe]
        for probe in new:
            self._probes[probe], self._vitals[probe] = HotProbe(), Vitals()
        for bin_id in self._memories.keys() - setup.bins.keys():
            del self._memories[bin_id]
            self._due_ms.pop(bin_id, None)
            self._pauses.forget(bin_id)
        for bin_id in setup.bins:
            memory = self._memories.setdefault(bin_id, BinMemory.at(now_ms, bin_id))
            memory.shed_told = self._shed_told[self._facts[bin_id].bin.shed]
            if before.get(bin_id) == self._facts[bin_id]:
                continue
            if bin_id in before and before[bin_id].probes != self._facts[bin_id].probes:
                memory.reads.clear()
            self._look_again(bin_id, 0)
            self._pauses.forget(bin_id)
        return new

    def set_entries(self, bin_id: str, entries: Iterable[Entry]) -> None:
        """Give a bin its journal: all versions of the window's entries, and of those that stand."""
        entries = tuple(entries)
        if bin_id in self._memories and entries != self._entries.get(bin_id, ()):
            self._entries[bin_id] = entries
            self._changed.add(bin_id)
            self._pauses.forget(bin_id)

    def unread_ms(self, bin_id: str, now_ms: int) -> set[int] | None:
        """Return the weighings whose readings the window has left; None if nothing need be asked."""
        memory = self._memories[bin_id]
        entries = known_at(self._entries.get(bin_id, ()), now_ms)
        unread_ms = weighed_before_ms(entries, now_ms) - memory.reads.keys()
        return unread_ms if unread_ms or memory.judged_at_ms < 0 else None

    def remember(
        self, bin_id: str, reads: Mapping[int, tuple[Read, ...]], moved_ms: Mapping[str, int]
    ) -> None:
        """Give a bin what its probes said when samples were weighed, and when they were moved."""
        memory = self._memories[bin_id]
        if reads or not moved_ms.items() <= memory.moved_ms.items():
            memory.reads.update(reads)
            memory.moved_ms.update(moved_ms)
            self._look_again(bin_id, 0)

    def set_weather(self, shed: str, weather: Weather | None) -> None:
        """Give a shed the weather outside it; it counts from the next forecast on."""
        if weather is None:
            self._weather.pop(shed, None)
        else:
            self._weather[shed] = weather

    def fill(
        self,
        probe: str,
        buckets: FilledBuckets,
        newest_taken_ms: int,
        last_values: Mapping[str, float],
        interval_ms: float,
    ) -> None:
        """Take over what a store knows of a probe: 5-minute buckets, newest values, usual gap."""
        if probe not in self._probes:
            return
        self._probes[probe].fill(buckets)
        self._vitals[probe].fill(newest_taken_ms, last_values, interval_ms)
        for bin_id in self._bins_of[probe]:
            self._look_again(bin_id, 0)

    def restore(self, alerts: Iterable[Alert], spells: Iterable[Spell] = ()) -> None:
        """Take over the alerts that were open, and the spells that may go on, when another judge stopped.

        Alerts that have returned within the last day may be given too: what was told of them
        counts towards the day's messages.
        """
        alerts = list(alerts)
        for shed in {alert.shed for alert in alerts} & self._watched.keys():
            self._shed_told[shed].take_over(one for one in alerts if one.shed == shed)
        for alert in alerts:
            memory = self._memories.get(alert.bin)
            if memory is None:
                continue
            if alert.state is not AlertState.RETURNED:
                memory.alerts[alert.condition, alert.subject] = alert
                if alert.subject in self._vitals:
                    self._vitals[alert.subject].recall(alert.evidence)
            memory.told_at_ms = sorted([*memory.told_at_ms, *alert.told_at_ms])
        for spell in spells:
            if spell.bin in self._memories:
                self._memories[spell.bin].spells[spell.condition] = spell

    def add_readings(self, readings: Iterable[Reading]) -> None:
        """Take in readings that are on disk; those of probes without a place are left."""
        probes, vitals = self._probes, self._vitals
        for one in readings:
            probe = probes.get(one.probe)
            if probe is not None:
                probe.add(one.taken_at_ms, one.values)
                vitals[one.probe].add(one)

    def acknowledge(self, alert_id: str, by: str, at_ms: int) -> None:
        """Note that a person has seen an alert."""
        self._change_alert(
            alert_id, lambda alert: replace(alert, acknowledged_at_ms=at_ms, acknowledged_by=by)
        )

    def shelve(self, alert_id: str, until_ms: int | None) -> None:
        """Keep an alert quiet until *until_ms*; None takes it off the shelf."""
        self._change_alert(alert_id, lambda alert: replace(alert, shelved_until_ms=until_ms))

    def judge(self, now_ms: int) -> list[Judgement]:
        """Judge, at the last whole tick, every bin for which something is due."""
        tick_ms = now_ms // self._tick_ms * self._tick_ms
        self._settle(tick_ms // BUCKET_MS)
        due = [
            bin_id
            for bin_id in sorted(self._setup.bins)
            if self._due_ms.get(bin_id, 0) <= tick_ms
            or (bin_id in self._changed and bin_id not in self._pauses)
        ]
        self._changed.clear()
        return [one for bin_id in due if (one := self._judge_or_fail(bin_id, tick_ms))]

    def next_due_ms(self) -> int:
        """Return the tick at which the next bin is due, if nothing comes in before."""
        soonest = min(self._due_ms.values(), default=0) if not self._changed else 0
        return -(-soonest // self._tick_ms) * self._tick_ms

    def state(self, bin_id: str) -> dict[str, object] | None:
        """Return the bin's verdicts and open alerts as last judged, ready for JSON."""
        return self.ask(bin_id, lambda window, memory: bin_state(window, memory, self._units))

    def forecast(self, bin_id: str) -> Forecast | None:
        """Return what was last foreseen of the bin; None where the data does not say."""
        memory = self._memories.get(bin_id)
        return None if memory is None else memory.outlook.forecast

    def derived(self, bin_id: str) -> Derived | None:
        """Return the bin's whole window as 5-minute series, computed ones included."""
        return self.ask(bin_id, lambda window, memory: derive(window, memory.film))

    def ask(self, bin_id: str, question: Question[Answer]) -> Answer | None:
        """Return the answer of the bin as last judged, which it must not change; None before that."""
        memory = self._memories.get(bin_id)
        if memory is None or memory.judged_at_ms < 0:
            return None
        return question(self._window(bin_id, memory.judged_at_ms), memory)

    def _settle(self, end: int) -> None:
        """Close the buckets before *end*; what comes for one that was closed is judged anew."""
        for name, probe in self._probes.items():
            earliest = probe.settle(end)
            if earliest is None:
                continue
            for bin_id in self._bins_of[name]:
                if earliest < self._memories[bin_id].film.done:
                    self._look_again(bin_id, earliest)

    def _look_again(self, bin_id: str, bucket: int) -> None:
        """Note that the bin's past has changed from *bucket* on."""
        memory = self._memories[bin_id]
        memory.trust.rewind(bucket)
        memory.look_again(bucket)
        self._changed.add(bin_id)

    def _judge_or_fail(self, bin_id: str, now_ms: int) -> Judgement | None:
        """Judge one bin: a mistake of ours that shows in one must not blind the others."""
        if self._on_failure is None:
            return self._judge_bin(bin_id, now_ms)
        memory = self._memories[bin_id]
        before = replace(memory, alerts=dict(memory.alerts), spells=dict(memory.spells))
        try:
            judgement = self._judge_bin(bin_id, now_ms)
        except Exception as failure:
            self._memories[bin_id] = before.begun_anew(now_ms, bin_id)
            began_ms = now_ms // BUCKET_MS * BUCKET_MS
            self._due_ms[bin_id] = began_ms + self._pauses.after_failure_ms(bin_id)
            self._on_failure(bin_id, failure)
            return None
        self._pauses.forget(bin_id)
        return judgement

    def _judge_bin(self, bin_id: str, now_ms: int) -> Judgement:
        memory = self._memories[bin_id]
        judgement = evaluate(self._window(bin_id, now_ms), memory, self._units)
        due_ms = (now_ms // BUCKET_MS + 1) * BUCKET_MS
        for alert in memory.alerts.values():
            foreseen = alert.forecast_for_ms is not None
            deadline = deadline_ms(alert, delays_of(alert.condition, foreseen=foreseen))
            if deadline is not None and deadline > now_ms:
                due_ms = min(due_ms, deadline)
        self._due_ms[bin_id] = due_ms
        return judgement

    def _window(self, bin_id: str, now_ms: int) -> BinWindow:
        facts = self._facts[bin_id]
        return BinWindow(
            bin=facts.bin,
            shed=facts.shed,
            limits=facts.limits,
            now_ms=now_ms,
            places=facts.places,
            air_places=facts.air_places,
            probes=self._probes,
            vitals=self._vitals,
            entries=known_at(self._entries.get(bin_id, ()), now_ms),
            reports_air=facts.reports_air,
            zone=facts.zone,
            weather=self._weather.get(facts.bin.shed),
            trust=self._memories[bin_id].trust,
            lessons=self._memories[bin_id].lessons,
            reads=self._memories[bin_id].reads,
            moved_ms=self._memories[bin_id].moved_ms,
            shed_probes=self._watched.get(facts.bin.shed, ()),
        )

    def _change_alert(self, alert_id: str, change: Callable[[Alert], Alert]) -> None:
        for memory in self._memories.values():
            for key, alert in memory.alerts.items():
                if alert.id == alert_id:
                    memory.alerts[key] = change(alert)
                    return
