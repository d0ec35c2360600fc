"""Which buckets of which channels of a bin are believed, and why the others are not.

Kept beside the lid film and in the same way: `advance` adds what has closed since, `rewind` goes back
when late data or the journal changed the past. Spikes and lifted lids are told with every bucket, the
slow faults at whole hours, each from the raw data of the eight days before: the same data gives the same
verdict live, after a restart and in a replay. Detectors: `faults`; `rules.probe_fault` tells the keeper.
"""

from __future__ import annotations

from typing import Final
from zlib import crc32

import numpy as np

from underlid.binmodel.faults.believed import BACK_BUCKETS, counts_until, hide, mend, ways_out
from underlid.binmodel.faults.channels import keys_of, probe_with
from underlid.binmodel.faults.detectors import SLOW_H, Begun, begun_by_hour
from underlid.binmodel.faults.fault import (
    MASKS,
    Cause,
    Fault,
    Key,
    Span,
    is_ailing,
    is_covered,
)
from underlid.binmodel.faults.gates import GATE_HOURS, suspicious
from underlid.binmodel.faults.moved import is_undone
from underlid.binmodel.faults.now_and_then import NowAndThen
from underlid.binmodel.faults.scene import TEMPERATURES, Scene
from underlid.binmodel.faults.spike_watch import SpikeWatch
from underlid.binmodel.faults.spikes_told import LID_MOVES
from underlid.binmodel.faults.table import LOOKBACK_H, table_of
from underlid.binmodel.faults.upset import is_upset, taken_for
from underlid.binmodel.lids.openings import FALL_PCT, Opening, openings
from underlid.binmodel.probes.hot import BUCKET_MS, BUCKETS_PER_HOUR, STEP_OF, WINDOW_BUCKETS
from underlid.binmodel.probes.vitals import CLOCK_OFF_LEAST_MS
from underlid.binmodel.window import BinWindow
from underlid.science.numeric import Floats

OPENINGS_BEFORE: Final = 24
"""Buckets before the first in which an opening may begin, to tell what was usual."""

OPENING_FINAL_AFTER: Final = 24
FALL_CODES: Final = int(FALL_PCT / STEP_OF["headspace_rh_pct"])
OPENED_MATTERS: Final = 24 * BUCKETS_PER_HOUR


class Trust:
    """The trust in the channels of one bin, and in its shed's air."""

    def __init__(self, now_ms: int, bin_id: str = "") -> None:
        self.offset = (crc32(bin_id.encode()) + BUCKETS_PER_HOUR // 2) % BUCKETS_PER_HOUR
        self.done = now_ms // BUCKET_MS - WINDOW_BUCKETS
        self.opened: list[Opening] = []
        self._hour = self._whole_hours(self.done)
        self._spans: dict[Key, list[Span]] = {}
        self._spikes = SpikeWatch()
        self._now_and_then = NowAndThen()
        self._clocks: dict[str, tuple[int, int | None]] = {}
        self._shown: dict[tuple[Key, Cause, int], int | None] = {}

    def advance(self, window: BinWindow) -> int | None:
        """Judge what has closed since; return the earliest bucket whose trust has changed."""
        end = window.end
        if end <= self.done:
            return None
        keys = keys_of(window)
        self.done = max(self.done, end - WINDOW_BUCKETS)
        done, probes = self.done, window.probes
        changed = [self._spikes.advance(probes[key[0]], key, done, end) for key in keys]
        changed.append(self._new_openings(window, keys, end))
        changed += [self._new_clock(window, probe, end) for probe in {key[0] for key in keys}]
        hour = self._whole_hours(end)
        if hour > self._hour and keys:
            self._whole_hour(window, keys, hour)
            changed.append(self._changed(self.done))
        self._hour = max(self._hour, hour)
        self.done = end
        return min((one for one in changed if one is not None), default=None)

    def rewind(self, bucket: int) -> None:
        """Forget what was found from *bucket* on: its data has changed."""
        if bucket >= self.done:
            return
        self.done = bucket
        self._spikes.rewind()
        hour = self._whole_hours(bucket)
        if hour >= self._hour:
            return
        self._hour = hour
        self._now_and_then.rewind(hour * BUCKETS_PER_HOUR + self.offset)
        for key, spans in self._spans.items():
            kept = [one for one in spans if one.found_h <= hour]
            for one in kept:
                if one.ended_h is not None and one.ended_h > hour:
                    one.until_bucket = one.ended_h = None
            self._spans[key] = kept

    def hide(self, probe: str, channel: str, values: Floats, start: int) -> None:
        """Turn what is not believed of a channel's raw means, from bucket *start* on, into NaN."""
        key = (probe, channel)
        for one in self._spans.get(key, ()):
            if one.mended_from is not None:
                mend(values, start, one)
            elif one.cause in MASKS:
                hide(values, start, one.hides_from(channel), one.until_bucket)
        if probe in self._clocks:
            hide(values, start, *self._clocks[probe])
        for bucket in reversed(self._spikes.found.get(key, ())):
            if bucket < start:
                break
            if bucket - start < len(values):
                values[bucket - start] = np.nan
        if channel in LID_MOVES:
            for each in self.opened:
                hide(values, start, each.from_bucket, each.until_bucket)

    def faults(self, probe: str) -> list[Fault]:
        """Return the faults of a probe that the keeper is told of now, oldest first."""
        found = [
            Fault(probe, key[1], one.cause, one.from_bucket, one.until_bucket)
            for key, spans in self._spans.items()
            if key[0] == probe
            for one in spans
            if one.told_at(self.done, key[1], spans)
        ]
        found += self._now_and_then.faults(probe, self.done)
        return sorted(found, key=lambda one: (one.from_bucket, one.channel))

    def spans(self, channel: str) -> list[tuple[int, int | None]]:
        """Return from and until of the faults that keep a channel from being believed, by time."""
        return sorted(
            (one.from_bucket, one.until_bucket)
            for key, spans in self._spans.items()
            if key[1] == channel
            for one in spans
            if one.cause in MASKS
        )

    def is_elsewhere(self) -> bool:
        """Tell whether a soil probe is believed at another place than before."""
        return any(one.is_elsewhere(key[1]) for key, spans in self._spans.items() for one in spans)

    def opened_at(self) -> int | None:
        """Return the bucket in which the lid was last lifted, within a day."""
        if not self.opened or self.done - self.opened[-1].from_bucket > OPENED_MATTERS:
            return None
        return self.opened[-1].from_bucket

    def _whole_hours(self, bucket: int) -> int:
        return (bucket - self.offset) // BUCKETS_PER_HOUR

    def _new_openings(self, window: BinWindow, keys: list[Key], end: int) -> int | None:
        """Look for lifted lids in the last hours; return the first that came or changed."""
        probe = probe_with(window, "headspace_rh_pct")
        if probe is None:
            return None
        since = self.done - OPENING_FINAL_AFTER
        before = {one for one in self.opened if one.from_bucket >= since}
        kept = [one for one in self.opened if one.from_bucket < since]
        kept = [one for one in kept if one.from_bucket >= end - WINDOW_BUCKETS]
        if kept:
            since = max(since, kept[-1].until_bucket or since)
        moves = [key for key in keys if key[1] == "headspace_rh_pct"]
        calm = all(self._spikes.range_of(key) <= FALL_PCT for key in moves)
        if calm and not before:
            self.opened = kept
            return None
        start = since - OPENINGS_BEFORE
        codes = probe.codes("headspace_rh_pct", start, end)
        if not before and int(codes.max()) - int(codes.min()) <= FALL_CODES:
            self.opened = kept
            return None
        rh = probe.means("headspace_rh_pct", start, end)
        head = probe.means("headspace_temp_c", start, end)
        air = probe_with(window, "shed_temp_c")
        shed = air.means("shed_temp_c", start, end) if air else np.full(end - start, np.nan)
        found = openings(rh, head, shed, start, since)
        self.opened = kept + found
        return min((one.from_bucket for one in before ^ set(found)), default=None)

    def _new_clock(self, window: BinWindow, probe: str, end: int) -> int | None:
        """Look whether a probe's clock is off: then no reading is where it belongs."""
        vitals = window.vitals.get(probe)
        begin, until = self._clocks.get(probe, (end, end))
        if vitals is not None and vitals.clock_off_ms(window.now_ms) >= CLOCK_OFF_LEAST_MS:
            since = vitals.clock_off_from_ms // BUCKET_MS
            self._clocks[probe] = (min(begin, since), None)
            return min(begin, since) if until is not None else None
        if until is None:
            self._clocks[probe] = (begin, end)
        return None

    def _whole_hour(self, window: BinWindow, keys: list[Key], end_h: int) -> None:
        """Ask every slow detector about the hours that have become whole."""
        going = any(one.until_bucket is None for spans in self._spans.values() for one in spans)
        if end_h == self._hour + 1 and end_h % SLOW_H and not going:
            quick = table_of(window.probes, keys, end_h - GATE_HOURS, end_h, self.offset)
            if not suspicious(Scene(quick, window)):
                self._now_and_then.tell(window, keys, self._spikes.found, self.opened)
                return
        first_h = max(
            self._hour + 1 - LOOKBACK_H, self._whole_hours(window.end - WINDOW_BUCKETS) + 1
        )
        if end_h <= first_h:
            return
        table = table_of(window.probes, keys, first_h, end_h, self.offset)
        scene = Scene(table, window)
        at = max(0, self._hour - first_h)
        begun = begun_by_hour(scene, at)
        if begun or going:
            for hour in range(at, table.hours):
                self._end(scene, hour)
                for one in begun.get(hour, ()):
                    self._begin(scene, one)
        self._now_and_then.note(table, at)
        self._now_and_then.tell(window, keys, self._spikes.found, self.opened)

    def _begin(self, scene: Scene, begun: Begun) -> None:
        table, (cause, ended, begin) = scene.table, begun
        key = table.keys[begin.row]
        if cause is Cause.DROPOUT:
            key = (key[0], "")
        spans = self._spans.setdefault(key, [])
        if self._misplaced(key[0], begin.from_bucket):
            return
        wrong = taken_for(self._spans, key, begin)
        found = table.bucket_of(begin.at + 1)
        drifts = cause is Cause.DRIFT and key[1] in TEMPERATURES
        if drifts and is_upset(self._spans, self._clocks.values(), begin.from_bucket, found, wrong):
            return
        if cause is Cause.MOVED and is_ailing(spans, begin.from_bucket):
            return
        found_h = table.first_h + begin.at + 1
        if wrong is not None:
            wrong.until_bucket, wrong.ended_h = wrong.from_bucket, found_h
            begin = begin._replace(from_bucket=min(wrong.from_bucket, begin.from_bucket))
        going = [one for one in spans if one.cause is cause and one.until_bucket is None]
        back = [one for one in going if one.mended_from and is_undone(*one.anchor, *begin.anchor)]
        if back:
            back[-1].until_bucket = max(begin.from_bucket + BACK_BUCKETS, back[-1].from_bucket)
            back[-1].ended_h = found_h
        elif not begin.ends_only and not is_covered(spans, cause, begin.from_bucket):
            spans.append(Span(cause, found_h, begin.from_bucket, anchor=begin.anchor, ended=ended))
        if cause in (Cause.PULLED_OUT, Cause.NOISE):
            for one in ways_out(spans, begin.from_bucket):
                one.until_bucket, one.ended_h = one.from_bucket, found_h

    def _misplaced(self, probe: str, bucket: int) -> bool:
        """Tell whether the probe's clock put readings where they do not belong about *bucket*."""
        if probe not in self._clocks:
            return False
        begin, until = self._clocks[probe]
        return begin - BUCKETS_PER_HOUR <= bucket < (until or bucket) + BUCKETS_PER_HOUR

    def _end(self, scene: Scene, hour: int) -> None:
        table = scene.table
        for key, spans in self._spans.items():
            for span in spans:
                if span.until_bucket is not None or span.ended is None:
                    continue
                row = scene.row_of(key)
                if row is None:
                    continue
                until = span.ended(scene, row, hour, span)
                if until is not None:
                    span.until_bucket = max(until, span.from_bucket)
                    span.ended_h = table.first_h + hour + 1

    def _changed(self, before: int) -> int | None:
        """Return the earliest bucket before *before* whose trust has changed by whole hours."""
        shown = {
            (key, one.cause, one.hides_from(key[1])): counts_until(one)
            for key, spans in self._spans.items()
            for one in spans
            if one.cause in MASKS
        }
        changed = []
        for span in shown.keys() | self._shown.keys():
            if span not in shown or span not in self._shown:
                changed.append(span[2])
            elif shown[span] != self._shown[span]:
                changed.append(min(shown[span] or before, self._shown[span] or before))
        self._shown = shown
        oldest = before - WINDOW_BUCKETS
        for key, spans in self._spans.items():
            self._spans[key] = [one for one in spans if (one.until_bucket or before) >= oldest]
        return min((one for one in changed if one < before), default=None)
