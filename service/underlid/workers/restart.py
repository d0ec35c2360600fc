"""A judge brought up to date from what is stored: the path of every start and every take-over.

The window comes from the readings, the journal, the open alerts and the spells from the records.
`watch` does this live; a page that shows a bin it does not judge does it for that bin's shed.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Final

import numpy as np

from underlid.alerts.alert import Alert
from underlid.binmodel.bins import Setup
from underlid.binmodel.faults.fault import Cause
from underlid.binmodel.probes.hot import BUCKET_MS, HELD_BUCKETS, HotProbe
from underlid.binmodel.probes.weighed import CHANNELS, Read, read_at, span_ms
from underlid.journal.standing import STANDS_MS, is_weighed
from underlid.judge import Judge
from underlid.lookback.spells import may_go_on
from underlid.readings.admission import AHEAD_MOST_MS
from underlid.storage.protocols import Buckets, ReadingStore
from underlid.storage.records import Records
from underlid.timeline import DAY_MS

HELD_MS: Final = HELD_BUCKETS * BUCKET_MS
"""So far back readings, journal and weather are asked for."""

SPELL_DAYS: Final = 14

RETURNED_MOST: Final = 1000
"""Newest alerts looked through for those that returned within a day."""

Act = tuple[int | None, str, int | None]
"""When and by whom an alert was acknowledged, and until when it is shelved."""

UNTOUCHED: Final[Act] = (None, "", None)


def part_of(setup: Setup, sheds: Collection[str]) -> Setup:
    """Return what of *setup* is in *sheds*; a shed is judged by itself."""
    return Setup(
        {name: shed for name, shed in setup.sheds.items() if name in sheds},
        {name: one for name, one in setup.bins.items() if one.shed in sheds},
        {name: place for name, place in setup.probes.items() if place.shed in sheds},
    )


def fill(judge: Judge, readings: ReadingStore, probes: Sequence[str], now_ms: int) -> None:
    """Give the judge what the store knows of *probes*; it replaces what the judge knew."""
    first_ms = now_ms - HELD_MS
    last_ms = now_ms + AHEAD_MOST_MS
    for probe, buckets in readings.buckets_of_all(probes, first_ms, last_ms, BUCKET_MS):
        seen = readings.probe_seen(probe)
        if seen is not None:
            judge.fill(
                probe,
                buckets,
                seen.last_taken_at_ms,
                seen.last_values,
                usual_interval_ms(buckets),
            )


def set_entries(
    judge: Judge, records: Records, readings: ReadingStore, setup: Setup, now_ms: int
) -> None:
    """Give the judge the journal of the bins of *setup*, with what was read at old weighings."""
    since_ms = now_ms - HELD_MS
    for bin_id in setup.bins:
        entries = records.all_entry_versions(bin_id, since_ms)
        judge.set_entries(bin_id, entries)
        if not any(is_weighed(entry) for entry in entries):
            continue
        unread_ms = judge.unread_ms(bin_id, now_ms)
        if unread_ms is not None:
            probes = [one.probe for one in setup.probes.values() if one.bin == bin_id]
            reads = {at_ms: _reads(readings, probes, at_ms) for at_ms in unread_ms}
            moved_ms = records.told_ms(bin_id, Cause.MOVED, now_ms - STANDS_MS)
            judge.remember(bin_id, reads, moved_ms)


def _reads(readings: ReadingStore, probes: Sequence[str], at_ms: int) -> tuple[Read, ...]:
    """Return what the store knows of what *probes* said about a moment before the window."""
    found = []
    for probe in probes:
        then = HotProbe()
        then.fill(readings.buckets(probe, *span_ms(at_ms), BUCKET_MS, CHANNELS))
        read = read_at(probe, then, at_ms)
        found += [read] if read else []
    return tuple(found)


def set_weather(judge: Judge, records: Records, sheds: Collection[str], now_ms: int) -> None:
    """Give the judge the weather outside *sheds*."""
    for shed in sheds:
        judge.set_weather(shed, records.weather(shed, now_ms - HELD_MS))


def restore(judge: Judge, records: Records, bins: Collection[str], now_ms: int) -> None:
    """Give the judge the alerts of *bins* that are open, and the spells that run or may go on."""
    since_ms = now_ms - SPELL_DAYS * DAY_MS
    known = [*records.open_alerts(), *_returned_since(records, now_ms - DAY_MS)]
    judge.restore(
        [alert for alert in known if alert.bin in bins],
        [
            spell
            for bin_id in bins
            for spell in records.spells(bin_id, since_ms, now_ms + 1)
            if may_go_on(spell, now_ms)
        ],
    )


def _returned_since(records: Records, since_ms: int) -> list[Alert]:
    """Return the alerts that returned lately: what was told of them counts for the day."""
    recent = records.alerts(most=RETURNED_MOST)
    return [one for one in recent if (one.returned_at_ms or 0) > since_ms]


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


def take_over_acts(judge: Judge, records: Records, known: Mapping[str, Act]) -> dict[str, Act]:
    """Tell the judge what people did to alerts by another door, such as the command line.

    Returns what was done to each open alert; *known* is what was returned the last time.
    """
    acts: dict[str, Act] = {}
    for one in records.open_alerts():
        acts[one.id] = act = (
            one.acknowledged_at_ms,
            one.acknowledged_by,
            one.shelved_until_ms,
        )
        if known.get(one.id, UNTOUCHED) == act:
            continue
        if one.acknowledged_at_ms is not None:
            judge.acknowledge(one.id, one.acknowledged_by, one.acknowledged_at_ms)
        judge.shelve(one.id, one.shelved_until_ms)
    return acts
