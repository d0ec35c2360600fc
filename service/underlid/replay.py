"""Judges a history as the service would have: the same `Judge`, moved by the data's own time.

Readings are delivered when they were received, journal entries when they became known, and the
judge is asked on whole ticks, as `watch` does live. Nothing is read ahead, so a verdict at a time
knows only what was known then. Histories come from files (`files`) or from the service's own store
(`storage.history`, `stored_entries`); `files.verdicts` turns the judgements into lines.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from underlid.binmodel.bins import Setup
from underlid.binmodel.herd import LIMIT_NAMES, limits_of
from underlid.binmodel.probes.hot import BUCKET_MS, HELD_BUCKETS
from underlid.errors import UnderlidError
from underlid.journal.entries import Entry
from underlid.journal.standing import stands
from underlid.journal.units import SI, Units
from underlid.judge import Judge
from underlid.pipeline import Judgement
from underlid.readings.values import Reading
from underlid.storage.records import Records
from underlid.timeline import MINUTE_MS

LATER: Final = 1 << 62

Progress = Callable[[int], None]
"""Told the time that a replay has reached."""


@dataclass(frozen=True, slots=True)
class Changes:
    """Journal entries of a history by when they became known."""

    entries: tuple[Entry, ...]

    @classmethod
    def of(cls, entries: Iterable[Entry]) -> Changes:
        """Return *entries* (all versions) in the order in which they became known."""
        return cls(tuple(sorted(entries, key=lambda one: (one.known_at_ms, one.id, one.version))))

    def known_ms(self, at: int) -> int:
        """Return when entry number *at* became known, or a time that never comes."""
        return self.entries[at].known_at_ms if at < len(self.entries) else LATER

    def of_bin(self, bin_id: str, until: int, since_ms: int) -> list[Entry]:
        """Return the versions among the first *until* that concern the bin's window.

        All versions of an entry that, in any of them, was the bin's since *since_ms*, or stands.
        """
        known = self.entries[:until]
        ids = {
            one.id for one in known if one.bin == bin_id and (one.at_ms >= since_ms or stands(one))
        }
        found = [one for one in known if one.id in ids]
        return sorted(found, key=lambda one: (one.at_ms, one.id, one.version))


def replay(
    setup: Setup,
    readings: Iterable[Reading],
    entries: Iterable[Entry],
    *,
    until_ms: int | None = None,
    tick_ms: int = MINUTE_MS,
    limits: Mapping[str, float] | None = None,
    units: Units = SI,
    progress: Progress = lambda _: None,
    judge_made: Callable[[Judge], None] = lambda _: None,
) -> Iterator[Judgement]:
    """Yield every judgement that the history leads to, in time order.

    Parameters
    ----------
    readings
        In the order in which they were received (`files.readings_csv` returns them so).
    entries
        All versions, in any order.
    until_ms
        The last moment judged; without it, that of the last thing that came in.
    limits
        Overrides limits of every bin, by the names of `binmodel.herd.Limits`.
    judge_made
        Given the judge before it judges, to ask it for more between judgements.
    """
    setup = with_limits(setup, limits or {})
    journal = Changes.of(entries)
    coming = iter(readings)
    reading = next(coming, None)
    first_ms = min(_received_ms(reading), journal.known_ms(0))
    if first_ms == LATER:
        return
    now_ms = _tick_at(first_ms, tick_ms)
    judge = Judge(setup, now_ms, tick_ms=tick_ms, units=units)
    judge_made(judge)
    known = 0
    while until_ms is None or now_ms <= until_ms:
        batch = []
        while reading is not None and reading.received_at_ms <= now_ms:
            batch.append(reading)
            reading = next(coming, None)
        judge.add_readings(batch)
        before = known
        while journal.known_ms(known) <= now_ms:
            known += 1
        if known > before:
            _tell_entries(judge, setup, journal, known, now_ms)
        yield from judge.judge(now_ms)
        progress(now_ms)
        next_ms = min(_received_ms(reading), journal.known_ms(known))
        if next_ms == LATER and until_ms is None:
            return
        now_ms = max(
            now_ms + tick_ms,
            min(_tick_at(next_ms, tick_ms), _tick_at(judge.next_due_ms(), tick_ms)),
        )


def with_limits(setup: Setup, limits: Mapping[str, float]) -> Setup:
    """Return *setup* with *limits* overriding those of every bin."""
    for name in limits:
        if name not in LIMIT_NAMES:
            raise UnderlidError(
                "limit",
                value=name,
                expected="one of " + ", ".join(LIMIT_NAMES),
                next_step="Correct its name.",
            )
    bins = {
        bin_.id: replace(bin_, limits={**bin_.limits, **limits}) for bin_ in setup.bins.values()
    }
    for bin_ in bins.values():
        limits_of(bin_)
    return replace(setup, bins=bins)


def stored_entries(records: Records, bins: Iterable[str], since_ms: int) -> list[Entry]:
    """Return all versions of the entries of *bins* since *since_ms*."""
    return list(
        {
            (entry.id, entry.version): entry
            for bin_id in bins
            for entry in records.all_entry_versions(bin_id, since_ms)
        }.values()
    )


def _tell_entries(judge: Judge, setup: Setup, journal: Changes, known: int, now_ms: int) -> None:
    since_ms = now_ms - HELD_BUCKETS * BUCKET_MS
    for bin_id in setup.bins:
        judge.set_entries(bin_id, journal.of_bin(bin_id, known, since_ms))


def _received_ms(reading: Reading | None) -> int:
    return LATER if reading is None else reading.received_at_ms


def _tick_at(at_ms: int, tick_ms: int) -> int:
    """Return the first whole tick at or after *at_ms*."""
    return -(-at_ms // tick_ms) * tick_ms
