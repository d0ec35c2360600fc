"""The lid of one bin: how cold it is, and the film of water on it, kept bucket by bucket.

The film is a running balance, so it is carried on and not computed anew: `LidFilm.advance` adds the
buckets that have closed since, `rewind` goes back when late data comes. A keeper's look at the lid
sets it right.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan, nan
from typing import Final

import numpy as np

from underlid.binmodel.bins import BinKind
from underlid.binmodel.hot import (
    BUCKET_MS,
    BUCKETS_PER_DAY,
    BUCKETS_PER_HOUR,
    CAPACITY,
    SLACK_BUCKETS,
    WINDOW_BUCKETS,
)
from underlid.binmodel.lid_flux import RH_SD_PCT, TEMP_SD_K, believed_flux_g_m2_h
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import LidLook, Sighting
from underlid.science.condensation import lid_temp_c
from underlid.science.numeric import Floats
from underlid.science.psychrometrics import dew_point_c, dew_point_sd_k
from underlid.timeline import HOUR_MS

LID_FACTOR: Final = {
    BinKind.FLOW_THROUGH_BAG: (0.70, 0.15),
    BinKind.TRAY_STACK: (0.70, 0.15),
    BinKind.PLASTIC_TOTE: (0.70, 0.15),
    BinKind.WOODEN_BOX: (0.80, 0.10),
    BinKind.TROUGH: (0.80, 0.10),
}
"""Temperature factor of the lid, mean and sd: common practice; a coupled wet-lid balance gave
0.72..0.79 for thin lids."""

BREATHING_G_M2_H: Final = {BinKind.FLOW_THROUGH_BAG: 2.0, BinKind.WOODEN_BOX: 1.0}
"""What a lid that breathes loses to the shed beside (our judgement)."""

FILM_MOST_G_M2: Final = 300.0
"""What a lid holds before all that comes drips off: a little over the 250 g/m² where dripping begins."""

RH_BELIEVED_MOST_PCT: Final = 99.0
"""Common sensors read up to 3 % high after days above 80 % (sensor data sheet), so the last percent to
saturation says nothing; half of it is taken."""

BRIDGED_BUCKETS: Final = BUCKETS_PER_HOUR
"""A probe that saves its battery sends once an hour (our judgement)."""

SATURATED_PCT: Final = 99.5
SATURATED_BUCKETS: Final = BUCKETS_PER_DAY
"""A sensor that reads this for a whole day says nothing more (science page, probes)."""

ASSUMED_RH_PCT: Final = 98.5
"""Taken instead: air between a wet bed and a wet lid is in the middle of what is saturated at either,
which are a kelvin or two apart (our judgement)."""

DRYING_MOST_G_M2_H: Final = 4.0
"""Faster drying counts as this in the day's balance: a lid that is dry does not get drier, and a dry
day before must not hide a wet one for long (our judgement)."""

NET_LEAST_H: Final = 6
"""Known hours of the last 24 without which the day's balance is not known (our judgement)."""

SEEN_G_M2: Final = {
    LidLook.DRY: 0.0,
    LidLook.MIST: 15.0,
    LidLook.DROPS: 50.0,
    LidLook.DRIPPING: 260.0,
}
"""The film that a keeper's word stands for: the middle of its band."""

BUCKET_H: Final = BUCKET_MS / HOUR_MS


@dataclass(frozen=True, slots=True)
class LidNow:
    """The lid at one moment; None where the window does not say."""

    grade: str
    lid_c: float | None
    dew_point_c: float | None
    margin_k: float | None
    margin_sd_k: float | None
    flux_g_m2_h: float | None
    saturated: bool = False
    """The humidity sensor is at fault, or has been at its end for a day; an assumed humidity is used."""


class LidFilm:
    """The film of one bin over the window, g/m², and the flux that made it, g/m²h."""

    def __init__(self, now_ms: int) -> None:
        self.first_bucket = now_ms // BUCKET_MS - WINDOW_BUCKETS
        self.film = np.zeros(CAPACITY, np.float32)
        self.flux = np.full(CAPACITY, np.nan, np.float32)
        self.done = self.first_bucket
        self._held = 0.0

    def advance(self, window: BinWindow) -> None:
        """Add the buckets that have closed since the last time."""
        end = window.end
        over = end - self.first_bucket - len(self.film)
        if over > 0:
            self._move(over + SLACK_BUCKETS - 1)
        count = end - self.done
        if count <= 0:
            return
        flux = fluxes(window, count)
        loss = breathing_g_m2_h(window)
        seen = _sightings(window)
        film, held, start = self.film, self._held, self.done - self.first_bucket
        for place, each in enumerate(flux.tolist()):
            if not isnan(each):
                held = min(FILM_MOST_G_M2, max(0.0, held + (each - loss) * BUCKET_H))
            if seen:
                held = seen.get(self.done + place, held)
            film[start + place] = held
        self.flux[start : start + count] = flux
        self._held, self.done = held, end

    def _move(self, by: int) -> None:
        """Forget the oldest *by* buckets; all of them after a sleep longer than the window."""
        for values in (self.film, self.flux):
            kept = values[by:].copy()
            values[: len(kept)] = kept
        self.first_bucket += by
        if self.done < self.first_bucket:
            self.done, self._held = self.first_bucket, 0.0

    def rewind(self, bucket: int) -> None:
        """Forget the film from *bucket* on: its data has changed."""
        if bucket >= self.done:
            return
        self.done = max(bucket, self.first_bucket)
        place = self.done - self.first_bucket
        self._held = float(self.film[place - 1]) if place else 0.0

    def last(self, buckets: int) -> Floats:
        """Return the film of the last *buckets* closed buckets."""
        place = self.done - self.first_bucket
        return self.film[max(0, place - buckets) : place].astype(np.float64)

    def last_flux(self, buckets: int, until: int) -> Floats:
        """Return `fluxes` of the *buckets* before bucket *until*, as they were run; NaN before."""
        stop = min(until, self.done) - self.first_bucket
        found = self.flux[max(0, stop - buckets) : stop]
        result = np.full(buckets, np.nan)
        result[buckets - len(found) :] = found
        return result


def _sightings(window: BinWindow) -> dict[int, float]:
    """Return bucket -> film as the keeper saw it."""
    return {
        entry.at_ms // BUCKET_MS: SEEN_G_M2[entry.what.lid]
        for entry in window.entries
        if isinstance(entry.what, Sighting) and entry.what.lid is not None
    }


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


def breathing_g_m2_h(window: BinWindow) -> float:
    """Return what the lid loses to the shed beside: learnt, else by the kind of bin."""
    if window.lessons is not None:
        return window.lessons.lid_loss_g_m2_h.value
    return BREATHING_G_M2_H.get(window.bin.kind, 0.0)


def humidities(window: BinWindow, count: int) -> tuple[Floats, bool]:
    """Return the believed headspace humidity of the last *count* buckets, %.

    Where the sensor has been saturated for a day the assumed humidity stands; the second value
    tells whether that is so for the last bucket.
    """
    rh = window.means("headspace_rh_pct", count + SATURATED_BUCKETS)
    instead = _instead_of_faulty(window, rh)
    unknown = np.isnan(rh)
    if float(np.fmax.reduce(rh)) < SATURATED_PCT:
        return np.where(unknown, instead, rh)[SATURATED_BUCKETS:], bool(~np.isnan(instead[-1]))
    informative = np.cumsum(~unknown & (rh < SATURATED_PCT))
    known = np.cumsum(~unknown)
    spent = (informative[SATURATED_BUCKETS:] == informative[:-SATURATED_BUCKETS]) & (
        known[SATURATED_BUCKETS:] - known[:-SATURATED_BUCKETS] >= SATURATED_BUCKETS // 2
    )
    recent = np.minimum(rh[SATURATED_BUCKETS:], RH_BELIEVED_MOST_PCT)
    believed = np.where(spent & ~np.isnan(recent), ASSUMED_RH_PCT, recent)
    believed = np.where(np.isnan(believed), instead[SATURATED_BUCKETS:], believed)
    return believed, bool(spent[-1] or ~np.isnan(instead[-1]))


def _instead_of_faulty(window: BinWindow, rh: Floats) -> Floats:
    """Return what is taken where the humidity sensor is at fault: what it said the day before.

    At most the assumed humidity; NaN where the sensor is not at fault.
    """
    instead = np.full(len(rh), np.nan)
    spans = window.trust.spans("headspace_rh_pct") if window.trust is not None else []
    start = window.end - len(rh)
    for begin, until in spans:
        stop = len(rh) if until is None else until - start
        if stop <= 0:
            continue
        before = window.means("headspace_rh_pct", BUCKETS_PER_DAY, begin)
        before = np.minimum(before[~np.isnan(before)], ASSUMED_RH_PCT)
        if len(before):
            instead[max(0, begin - start) : stop] = before.mean()
    return instead


def fluxes(window: BinWindow, count: int) -> Floats:
    """Return the condensing flux of the last *count* buckets, g/m²h; NaN where unknown.

    Between the readings of a probe that sends seldom the last flux goes on for an hour.
    """
    count += BRIDGED_BUCKETS
    rh, _ = humidities(window, count)
    head = window.means("headspace_temp_c", count)
    flux = believed_flux_g_m2_h(
        head,
        np.minimum(rh, RH_BELIEVED_MOST_PCT),
        lid_temps(window, count),
        window.means("bed_temp_c", count),
        head - window.means("shed_temp_c", count),
        lid_factor(window)[1],
    )
    known = np.where(np.isnan(flux), -1, np.arange(count))
    newest = np.maximum.accumulate(known)
    near = (newest >= 0) & (np.arange(count) - newest < BRIDGED_BUCKETS)
    return np.where(near, flux[newest], np.nan)[BRIDGED_BUCKETS:]


def net_g_m2_h(window: BinWindow, film: LidFilm) -> float | None:
    """Return the mean gain of the lid over the last 24 h, the daily swing balanced out.

    Negative when it dries on the whole; None when too little of the day is known.
    """
    flux = film.last_flux(BUCKETS_PER_DAY, window.end)
    known = flux[~np.isnan(flux)]
    if len(known) < NET_LEAST_H * BUCKETS_PER_HOUR:
        return None
    gain = known - breathing_g_m2_h(window)
    return float(np.maximum(gain, -DRYING_MOST_G_M2_H).mean())


def lid_now(window: BinWindow) -> LidNow:
    """Return the lid as the last half hour shows it, with the grade of the evidence."""
    head, rh = window.present("headspace_temp_c"), window.present("headspace_rh_pct")
    spent = False
    if rh is None or rh >= SATURATED_PCT - 0.5:
        believed, spent = humidities(window, 1)
        rh = float(believed[-1]) if spent else rh
    if head is None or rh is None or isnan(rh):
        return LidNow("", None, None, None, None, None)
    rh = min(rh, RH_BELIEVED_MOST_PCT)
    dew = float(dew_point_c(head, rh))
    dew_sd = float(dew_point_sd_k(head, rh, RH_SD_PCT, TEMP_SD_K))
    measured, shed = window.present("lid_temp_c"), window.present("shed_temp_c")
    factor, factor_sd = lid_factor(window)
    if measured is not None:
        grade, lid, lid_sd = "lid_probe", measured, TEMP_SD_K
    elif shed is not None:
        grade, lid = "lid_estimate", float(lid_temp_c(shed, head, factor))
        lid_sd = abs(head - shed) * factor_sd
    else:
        return LidNow("humidity", None, dew, None, None, None, spent)
    flux = believed_flux_g_m2_h(
        np.array([head]),
        np.array([rh]),
        np.array([lid]),
        np.array([window.present("bed_temp_c")], np.float64),  # None is NaN
        np.array([nan if shed is None else head - shed]),
        factor_sd,
    )
    return LidNow(
        grade, lid, dew, lid - dew, float(np.hypot(dew_sd, lid_sd)), float(flux[0]), spent
    )
