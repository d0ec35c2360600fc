"""A bin as it can be judged at one moment: calibrated means of the closed buckets, and the journal.

A view on the hot probes, not a copy: it is made for every judgement. Nothing later than `now_ms` is in
it. Several probes in one bed are averaged where they agree in kind; `hottest` asks for the warmest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, tzinfo
from functools import reduce
from math import isnan
from operator import add
from typing import Final

import numpy as np

from underlid.binmodel.bins import Bin, ProbePlace, Shed
from underlid.binmodel.faults.fault import TrustView
from underlid.binmodel.herd import Limits, limits_of
from underlid.binmodel.outlook.weather import Weather
from underlid.binmodel.probes.calibrated import calibrate, index_curve, moisture_sd_pct
from underlid.binmodel.probes.hot import BUCKET_MS, BUCKETS_PER_HOUR, HotProbe
from underlid.binmodel.probes.vitals import Vitals
from underlid.binmodel.probes.weighed import Read
from underlid.binmodel.taught.lessons import Lessons
from underlid.journal.entries import Entry, Feed
from underlid.readings.calibration import Line, soil_index_line
from underlid.readings.moisture_line import Bent
from underlid.science.numeric import Floats
from underlid.timeline import DAY_MS

FRESH_BUCKETS: Final = 6
"""A present value is the mean of what came in the last half hour; older than that is unknown."""

TAIL_BUCKETS: Final = 26 * BUCKETS_PER_HOUR
"""Most questions are about the last day and an hour; they share one look at the probes."""

FEED_MATTERS_MS: Final = 10 * DAY_MS
"""A feed's story lasts until the next one or so long (product words: feed story)."""

MOISTURE_UNKNOWN_SD_PCT: Final = 8.0
"""Of a bed that no probe says anything of: as for a probe without samples."""

IDENTITY: Final = Line(1.0, 0.0)


@dataclass(frozen=True, slots=True)
class BinWindow:
    """One bin at `now_ms`. `end` is the first bucket that is not closed yet."""

    bin: Bin
    shed: Shed
    limits: Limits
    now_ms: int
    places: tuple[ProbePlace, ...]
    air_places: tuple[ProbePlace, ...]
    probes: Mapping[str, HotProbe]
    vitals: Mapping[str, Vitals]
    entries: tuple[Entry, ...]
    reports_air: bool = True
    """Whether a fault of the shed's air probe is told with this bin: with one of the shed only."""
    trust: TrustView | None = None
    """What of the probes is not believed: it is left out of every series."""
    zone: tzinfo = UTC
    """Of the shed: for sentences, nothing is judged by it."""
    weather: Weather | None = None
    """Outside the shed, where the keeper supplies it."""
    lessons: Lessons | None = None
    """What the bin had taught when it was last learnt from; None before the first time."""
    reads: Mapping[int, tuple[Read, ...]] = field(default_factory=dict)
    """What the bin's soil probes said when samples were weighed, by its time; also long ago."""
    moved_ms: Mapping[str, int] = field(default_factory=dict)
    """When a probe was last told to be moved."""
    shed_probes: tuple[str, ...] = ()
    """All that are watched in the shed."""
    _looked: dict[tuple[str, int, int], Floats] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    """What has been asked of the probes already; a window does not outlive its judgement."""

    @property
    def end(self) -> int:
        """Return the number of the first bucket that is still open."""
        return self.now_ms // BUCKET_MS

    def means(self, channel: str, buckets: int, until: int | None = None) -> Floats:
        """Return the calibrated means of the last *buckets* closed buckets, NaN where unknown.

        Not to be written to: others are given the same.
        """
        end = self.end
        until = end if until is None else until
        in_tail = buckets < TAIL_BUCKETS and until == end
        key = channel, TAIL_BUCKETS if in_tail else buckets, until
        found = self._looked.get(key)
        if found is None:
            found = self._looked[key] = self._mean(*key)
            found.flags.writeable = False
        return found[TAIL_BUCKETS - buckets :] if in_tail else found

    def _mean(self, channel: str, buckets: int, until: int) -> Floats:
        found = self.each(channel, buckets, until)
        if not found:
            return np.full(buckets, np.nan)
        if len(found) == 1:
            return found[0]
        stack = np.stack(found)
        count = np.sum(~np.isnan(stack), axis=0)
        with np.errstate(invalid="ignore", divide="ignore"):
            result: Floats = np.nansum(stack, axis=0) / count
        return result

    def hottest(self, buckets: int) -> Floats:
        """Return the bed temperature of the warmest probe, bucket by bucket."""
        if len(self.places) == 1:
            return self.means("bed_temp_c", buckets)
        found = self.each("bed_temp_c", buckets, self.end)
        if not found:
            return np.full(buckets, np.nan)
        result: Floats = found[0] if len(found) == 1 else np.fmax.reduce(found)
        return result

    def each(self, channel: str, buckets: int, until: int) -> list[Floats]:
        """Return the calibrated means of each probe that measures *channel* for this bin."""
        result = []
        for place, name, line in self._sources_of(channel):
            raw = self.probes[place.probe].means(name, until - buckets, until)
            if self.trust is not None:
                self.trust.hide(place.probe, name, raw, until - buckets)
            if place.calibrations:
                starts = np.arange(until - buckets, until, dtype=np.int64) * BUCKET_MS
                result.append(calibrate(place, starts, {name: raw})[channel])
            else:
                result.append(raw if line is IDENTITY else line.apply(raw))
        if channel != "moisture_pct":
            return result
        shift = 0.0 if self.lessons is None else self.lessons.moisture_shift_pct.value
        return [np.clip(one + shift, 0.0, 100.0) for one in result]

    def empty_before(self, channel: str, buckets: int) -> int:
        """Return how many of the last *buckets* at least pass before the first mean that is known."""
        until = self.end
        return min(
            (
                self.probes[place.probe].empty_before(name, until - buckets, until)
                for place, name, _ in self._sources_of(channel)
            ),
            default=buckets,
        )

    def recent(self, channel: str) -> list[float]:
        """Return the known means of the last half hour, oldest first."""
        return _known(self.means(channel, FRESH_BUCKETS))

    def hottest_recent(self) -> list[float]:
        """Return the same of the warmest probe in the bed."""
        return _known(self.hottest(FRESH_BUCKETS))

    def present(self, channel: str) -> float | None:
        """Return the mean of the last half hour, or None when nothing is that fresh."""
        known = self.recent(channel)[-3:]
        return reduce(add, known) / len(known) if known else None

    def moisture_sd_pct(self) -> float:
        """Return how sure this bin's moisture is, % points: learnt, else by its probes' samples."""
        if self.lessons is not None:
            return self.lessons.moisture_sd_pct.value
        sds = [
            sd
            for place in self.places
            if (probe := self.probes.get(place.probe)) is not None
            and (sd := moisture_sd_pct(place, probe.channels, None)) is not None
        ]
        return round(min(sds, default=MOISTURE_UNKNOWN_SD_PCT), 1)

    def last_feed(self, within_ms: int = FEED_MATTERS_MS) -> tuple[Entry, Feed] | None:
        """Return the newest feed that still matters."""
        for entry in reversed(self.entries):
            if entry.at_ms < self.now_ms - within_ms:
                return None
            if isinstance(entry.what, Feed):
                return entry, entry.what
        return None

    def _sources_of(self, channel: str) -> list[tuple[ProbePlace, str, Line | Bent]]:
        """Return for each probe that measures *channel* the raw channel that is used, and its line."""
        found: list[tuple[ProbePlace, str, Line | Bent]] = []
        for place in self._places_for(channel):
            probe = self.probes.get(place.probe)
            if probe is None:
                continue
            if channel in probe.channels:
                found.append((place, channel, IDENTITY))
                continue
            for name, line in instead_of(place, channel):
                if name in probe.channels:
                    found.append((place, name, line))
                    break
        return found

    def _places_for(self, channel: str) -> tuple[ProbePlace, ...]:
        if not channel.startswith("shed_"):
            return self.places
        return self.air_places or self.places


def nothing_known(bin_: Bin, now_ms: int) -> BinWindow:
    """Return the window of a bin without probes and without a journal."""
    return BinWindow(bin_, Shed(bin_.shed), limits_of(bin_), now_ms, (), (), {}, {}, ())


def sources(place: ProbePlace, channel: str) -> list[tuple[str, Line | Bent]]:
    """Return the raw channels that *channel* can come from, best first, with the line to apply.

    The lines leave out the calibrations of the place, which may hold for a span of time only.
    """
    return [(channel, IDENTITY), *instead_of(place, channel)]


def instead_of(place: ProbePlace, channel: str) -> list[tuple[str, Line | Bent]]:
    """Return the other raw channels that *channel* can come from, best first, with their lines."""
    to_moisture = index_curve(place) if channel == "moisture_pct" else None
    if to_moisture is None:
        return []
    dry, wet = place.soil_dry_raw, place.soil_wet_raw
    result: list[tuple[str, Line | Bent]] = [("soil_index", to_moisture)]
    if dry is not None and wet is not None and dry != wet:
        result.append(("soil_raw", to_moisture.after(soil_index_line(dry, wet))))
    return result


def _known(values: Floats) -> list[float]:
    return [one for one in values.tolist() if not isnan(one)]


def mean_of(values: Floats, least: int) -> float | None:
    """Return the mean of what is known, or None when fewer than *least* values are."""
    total = float(np.add.reduce(values))
    if isnan(total):
        values = values[~np.isnan(values)]
        total = float(np.add.reduce(values))
    return total / len(values) if len(values) >= least else None
