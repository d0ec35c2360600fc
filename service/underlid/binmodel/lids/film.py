"""The lid of one bin: how cold it is, and the film of water on it, kept hour by hour.

The film is a running balance under many guesses (`lids/cloud.py`), so it is carried on and not computed
anew: `LidFilm.advance` adds the hours that have closed since, `rewind` goes back when late data comes.
At the beginning of the bin's day it starts again from twelve days before. So a service that has just
been started knows the same as one that never stopped.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, isnan
from typing import Final
from zlib import crc32

import numpy as np

from underlid.binmodel.lids.cloud import Cloud
from underlid.binmodel.lids.guesses import LID_FACTOR
from underlid.binmodel.lids.hours import lid_hours, looks_since
from underlid.binmodel.lids.humidity import RH_BELIEVED_MOST_PCT, humidities
from underlid.binmodel.probes.hot import (
    BUCKET_MS,
    BUCKETS_PER_DAY,
    BUCKETS_PER_HOUR,
    WINDOW_BUCKETS,
)
from underlid.binmodel.window import BinWindow
from underlid.science.condensation import lid_temp_c
from underlid.science.numeric import Floats
from underlid.science.psychrometrics import dew_point_c, dew_point_sd_k
from underlid.timeline import HOUR_MS

DAY_H: Final = 24
PAST_H: Final = 12 * DAY_H
"""Where the film starts from: twelve days of a window of fourteen, as for lessons."""

CAPACITY_H: Final = PAST_H + DAY_H
KEEP_EVERY_H: Final = 6
"""How often a moment is kept to come back to when late data comes; the day's beginning is kept too."""

LATE_EVERY_H: Final = 2
LATE_BACK_H: Final = 12
"""Where late data has come today or yesterday more moments are kept, so many hours back: it comes again."""

FILM_KNOWN_H: Final = 2
"""Without temperatures for so long nothing is said of the film (our judgement)."""

RH_SD_PCT: Final = 2.0
TEMP_SD_K: Final = 0.3
"""Of a headspace sensor of the common kind (data sheets)."""

BUCKET_H: Final = BUCKET_MS / HOUR_MS


@dataclass(frozen=True, slots=True)
class LidNow:
    """The lid at one moment; None where the window does not say."""

    grade: str
    lid_c: float | None
    dew_point_c: float | None
    margin_k: float | None
    margin_sd_k: float | None
    saturated: bool = False
    """The humidity sensor is at fault, or has been at its end for a day; an assumed humidity is used."""


class LidFilm:
    """The film of one bin over the last twelve days, g/m², and the flux that made it, g/m²h."""

    def __init__(self, now_ms: int, bin_id: str = "") -> None:
        self.done = now_ms // BUCKET_MS - WINDOW_BUCKETS
        """The first bucket that has not been judged."""
        self.cloud: Cloud | None = None
        """All guesses as they are now: since the last whole hour the film has gone on as in it."""
        self.at_hour: Cloud | None = None
        """As they were at the last whole hour, with what was seen since: forecasts go on from there."""
        self._closed: Cloud | None = None
        self._offset = day_offset(bin_id)
        self._first_h = self._hour = 0
        self._film = np.zeros(CAPACITY_H, np.float32)
        self._flux = np.full(CAPACITY_H, np.nan, np.float32)
        self._kept: list[tuple[int, Cloud]] = []
        self._late_day = -1

    def advance(self, window: BinWindow) -> None:
        """Add the hours that have closed since the last time."""
        hour = (window.end - self._offset) // BUCKETS_PER_HOUR
        first_h = hour // DAY_H * DAY_H - PAST_H
        if self._closed is None or first_h != self._first_h:
            self._closed = Cloud(window.bin.kind)
            self._first_h = self._hour = first_h
            self._kept = []
        if hour > self._hour:
            self._run(window, self._closed, hour)
        self.done = max(self.done, window.end)
        open_from = self._open_from()
        looks = looks_since(window, open_from)
        self.at_hour, self.cloud = self._closed, self._closed.copy()
        if looks:
            self.at_hour = self._closed.copy()
            self.at_hour.see(looks)
        self.cloud.go_on((self.done - open_from) / BUCKETS_PER_HOUR)
        self.cloud.see(looks)

    def when_day_began(self) -> Cloud | None:
        """Return all guesses as they were when the bin's day began, after twelve days."""
        begins_h = self._first_h + PAST_H
        found = [cloud for hour, cloud in self._kept if hour == begins_h]
        if found:
            return found[0]
        return self._closed if self._hour == begins_h else None

    def _open_from(self) -> int:
        """Return the first bucket of the hour that is open."""
        return self._hour * BUCKETS_PER_HOUR + self._offset

    def _run(self, window: BinWindow, cloud: Cloud, until_h: int) -> None:
        for hour in lid_hours(window, self._open_from(), until_h - self._hour):
            place = self._hour - self._first_h
            self._keep(cloud, place)
            cloud.step(hour)
            _shorten(cloud)
            self._film[place] = cloud.quantiles(0.5)[0]
            self._flux[place] = cloud.mean_flux()
            self._hour += 1

    def _keep(self, cloud: Cloud, place: int) -> None:
        """Keep this moment to come back to if its time has come; drop those that are too old."""
        begins_h = self._first_h + PAST_H
        late = begins_h // DAY_H - self._late_day <= 1
        if place % (LATE_EVERY_H if late else KEEP_EVERY_H):
            return
        if place >= PAST_H - (LATE_BACK_H if late else 0):
            since_h = self._hour - LATE_BACK_H if late else self._hour
            kept = [one for one in self._kept if one[0] >= since_h or one[0] == begins_h]
            self._kept = [*kept, (self._hour, cloud.copy())]

    def rewind(self, bucket: int) -> None:
        """Forget the film from *bucket* on: its data has changed."""
        self.done = min(self.done, bucket)
        hour = (bucket - self._offset) // BUCKETS_PER_HOUR
        if hour >= self._hour:
            return
        self._late_day = self._hour // DAY_H
        self._kept = [one for one in self._kept if one[0] <= hour]
        if self._kept:
            self._hour, cloud = self._kept[-1]
            self._closed = cloud.copy()
        else:
            self._closed = None

    def last(self, buckets: int) -> Floats:
        """Return the likely film of the last *buckets* closed buckets, from hour to hour in a line."""
        last = self._last()
        if last <= 0 or self.cloud is None:
            return np.zeros(0)
        every = np.arange(max(0, last - buckets) + 1, last + 1)
        # After a rewind fewer hours are done than have been run.
        count = min(self._hour - self._first_h, last // BUCKETS_PER_HOUR)
        ends = np.arange(1, count + 1) * BUCKETS_PER_HOUR
        film = np.append(self._film[:count], self.cloud.quantiles(0.5))
        result: Floats = np.interp(every, np.append(ends, last), film)
        return result

    def last_flux(self, buckets: int) -> Floats:
        """Return the likely flux of the last *buckets* closed buckets; NaN where unknown."""
        last = self._last()
        begin = max(0, last - buckets)
        first_h = begin // BUCKETS_PER_HOUR
        hours = np.arange(first_h, -(-last // BUCKETS_PER_HOUR))
        flux = self._flux[np.minimum(hours, self._hour - self._first_h - 1)].astype(np.float64)
        skip = begin - first_h * BUCKETS_PER_HOUR
        return flux.repeat(BUCKETS_PER_HOUR)[skip : skip + last - begin]

    def _last(self) -> int:
        """Return the number of the last bucket that has closed; the first hour's first is 1."""
        return self.done - self._first_h * BUCKETS_PER_HOUR - self._offset

    def known_lately(self, hours: int) -> bool:
        """Tell whether the temperatures that a film needs were known in the last *hours*."""
        place = self._hour - self._first_h
        lately = self._flux[max(0, place - hours) : place]
        return self._last() > 0 and any(map(isfinite, lately.tolist()))

    def chance(self, limit_g_m2: float) -> float:
        """Return the chance that the film is at a limit or beyond; 0 before the first hour."""
        return 0.0 if self.cloud is None else self.cloud.chance(limit_g_m2)

    def now(self) -> tuple[float, float, float]:
        """Return the likely film and the ends of its 80 % band."""
        if self.cloud is None:
            return 0.0, 0.0, 0.0
        low, middle, high = self.cloud.quantiles(0.1, 0.5, 0.9)
        return middle, low, high

    def band(self) -> tuple[float, float]:
        """Return the ends of the film's 80 % band."""
        return self.now()[1:]


SHORT: Final = ("film", "flux", "weight", "_off", "_square", "_seen", "_wall")


def _shorten(cloud: Cloud) -> None:
    """Hold what changes with the hour in four bytes a guess: seven digits are more than is known.

    After every hour, not only in moments that are kept: to go back to one must change nothing.
    """
    for name in SHORT:
        setattr(cloud, name, getattr(cloud, name).astype(np.float32, copy=False))


def day_offset(bin_id: str) -> int:
    """Return at which bucket after midnight (UTC) a bin's day begins, so that not all begin at once.

    >>> 0 <= day_offset("tansy") < BUCKETS_PER_DAY
    True
    """
    return crc32(bin_id.encode()) % BUCKETS_PER_DAY


def lid_temps(window: BinWindow, count: int) -> Floats:
    """Return the lid's temperature for the last *count* buckets: measured, else estimated."""
    measured = window.means("lid_temp_c", count)
    factor, _ = lid_factor(window)
    estimated: Floats = lid_temp_c(
        window.means("shed_temp_c", count), window.means("headspace_temp_c", count), factor
    )
    result: Floats = np.where(np.isnan(measured), estimated, measured)
    return result


def lid_factor(window: BinWindow) -> tuple[float, float]:
    """Return the lid's temperature factor and its sd: learnt, else by the kind of bin."""
    if window.lessons is None:
        return LID_FACTOR[window.bin.kind]
    return window.lessons.lid_factor.value, window.lessons.lid_factor.sd


GRADE_H: Final = 3
"""The film rests on hours, not on the last reading: a grade that changed whenever a probe that sends once
an hour is not fresh would raise and lower the alert by turns (our judgement)."""


def _lately(window: BinWindow, channel: str, present: float | None) -> bool:
    """Tell whether a channel was known in the last hours."""
    if present is not None:
        return True
    return bool(np.isfinite(window.means(channel, GRADE_H * BUCKETS_PER_HOUR)).any())


def lid_now(window: BinWindow) -> LidNow:
    """Return the lid as the last half hour shows it, with the grade of the evidence."""
    head, rh = window.present("headspace_temp_c"), window.present("headspace_rh_pct")
    measured, shed = window.present("lid_temp_c"), window.present("shed_temp_c")
    spent = False
    if rh is None or rh >= RH_BELIEVED_MOST_PCT:
        believed, spent = humidities(window, 1)
        rh = float(believed[-1]) if spent else rh
    grade = "humidity"
    if _lately(window, "lid_temp_c", measured):
        grade = "lid_probe"
    elif _lately(window, "shed_temp_c", shed):
        grade = "lid_estimate"
    factor, factor_sd = lid_factor(window)
    lid, lid_sd = measured, TEMP_SD_K
    if lid is None and shed is not None and head is not None:
        lid, lid_sd = float(lid_temp_c(shed, head, factor)), abs(head - shed) * factor_sd
    if head is None or rh is None or isnan(rh):
        return LidNow(grade, lid, None, None, None, spent)
    rh = min(rh, RH_BELIEVED_MOST_PCT)
    dew = float(dew_point_c(head, rh))
    if lid is None:
        return LidNow(grade, None, dew, None, None, spent)
    dew_sd = float(dew_point_sd_k(head, rh, RH_SD_PCT, TEMP_SD_K))
    return LidNow(grade, lid, dew, lid - dew, float(np.hypot(dew_sd, lid_sd)), spent)
