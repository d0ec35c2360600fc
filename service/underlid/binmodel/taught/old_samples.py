"""Weighed samples older than the lessons' twelve days: what they still say of a soil probe's level.

Roots, salt and the contact with the bed change what a probe says, slowly and either way; so an old sample
is believed less with every month. Once the bin or the probe was moved it says nothing more.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot
from typing import Final

import numpy as np

from underlid.binmodel.bins import ProbePlace
from underlid.binmodel.probes.calibrated import calibrate
from underlid.binmodel.probes.hot import BUCKET_MS
from underlid.binmodel.probes.weighed import AROUND_BUCKETS, YOUNG_MS, Read, read_at
from underlid.binmodel.taught.past import Past
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry, Moved, Sighting
from underlid.journal.standing import STANDS_MS, is_weighed
from underlid.readings.moisture_line import SAMPLE_SD_PCT
from underlid.timeline import DAY_MS

WALK_PCT2_D: Final = 1.0 / 30.0
"""A probe's level wanders by 1 point in a month, by 2 in four, as a random walk (our judgement)."""

AGREES_SDS: Final = 3.0
"""Where probe and sample differ by more, one of them was wrong: then it tells nothing (our judgement)."""


@dataclass(frozen=True, slots=True)
class OldSamples:
    """What old samples together add to the probes' moisture, % points, and what these said then."""

    shift_pct: float
    sd_pct: float
    read_pct: float
    count: int
    first_ms: int


def reads_of(window: BinWindow) -> dict[int, tuple[Read, ...]]:
    """Return what the bin's probes said at each weighing that is young but whole, by its time."""
    latest_ms = window.now_ms - AROUND_BUCKETS * BUCKET_MS
    found = {}
    for entry in window.entries:
        if is_weighed(entry) and window.now_ms - YOUNG_MS <= entry.at_ms <= latest_ms:
            each = [
                read
                for place in window.places
                if (probe := window.probes.get(place.probe)) is not None
                and (read := read_at(place.probe, probe, entry.at_ms)) is not None
            ]
            found[entry.at_ms] = tuple(each)
    return found


def old_samples(past: Past, line_sd_pct: float) -> OldSamples | None:
    """Return what samples older than *past* say; None where there is none.

    Parameters
    ----------
    line_sd_pct
        How sure the probes' moisture is without them, % points.

    Source: Kalman filter of a random walk, common statistics.
    """
    window = past.window
    if window.trust is not None and window.trust.is_elsewhere():
        return None
    shift, variance, last_ms, reads, first_ms = 0.0, np.inf, past.until_ms, list[float](), 0
    for entry, told_pct, read_pct in _pairs(past):
        off = told_pct - read_pct
        if abs(off) > AGREES_SDS * hypot(line_sd_pct, SAMPLE_SD_PCT):
            continue
        variance += WALK_PCT2_D * max(0, entry.at_ms - last_ms) / DAY_MS
        weight = 1.0 / (1.0 + SAMPLE_SD_PCT**2 / variance)
        shift += weight * (off - shift)
        variance = weight * SAMPLE_SD_PCT**2
        last_ms, first_ms = entry.at_ms, first_ms or entry.at_ms
        reads.append(read_pct)
    if not reads:
        return None
    variance += WALK_PCT2_D * (past.until_ms - last_ms) / DAY_MS
    return OldSamples(shift, variance**0.5, float(np.mean(reads)), len(reads), first_ms)


def _pairs(past: Past) -> Iterator[tuple[Entry, float, float]]:
    """Yield each old sample with its moisture and what the probes said, oldest first."""
    window = past.window
    moves = [one.at_ms for one in window.entries if isinstance(one.what, Moved)]
    since_ms = max((at for at in moves if at < past.until_ms), default=0)
    since_ms = max(since_ms, past.until_ms - STANDS_MS)
    points = {pct for place in window.places for _, pct in place.soil_points}
    for entry in window.entries:
        if not is_weighed(entry) or not since_ms <= entry.at_ms < past.start_ms:
            continue
        assert isinstance(entry.what, Sighting)
        told_pct = entry.what.moisture_pct
        assert told_pct is not None
        if told_pct in points:
            continue  # The keeper has given it to the probe: it is in the line already.
        said = [
            pct
            for read in window.reads.get(entry.at_ms, ())
            if window.moved_ms.get(read.probe, 0) <= entry.at_ms
            for place in window.places
            if place.probe == read.probe
            and (pct := _moisture_pct(place, read, entry.at_ms)) is not None
        ]
        if said:
            yield entry, told_pct, float(np.mean(said))


def _moisture_pct(place: ProbePlace, read: Read, at_ms: int) -> float | None:
    """Return the moisture that a raw value means, by the calibrations that hold now."""
    raw = {read.channel: np.array([read.raw])}
    found = calibrate(place, np.array([at_ms], dtype=np.int64), raw).get("moisture_pct")
    return None if found is None else float(found[0])
