"""How sure the film on the lid is now: what it would be if lid and humidity were a little different.

The lid's temperature factor and what it loses beside are known only so well, and their errors last: a
flux that is wrong by 1 g/m²h makes 24 g/m² in a day. So the film is run over the last week for several
errors, from the keeper's last look if there is one.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.binmodel.hot import BUCKETS_PER_HOUR
from underlid.binmodel.lid import FILM_MOST_G_M2, SEEN_G_M2, LidFilm, lid_factor
from underlid.binmodel.outlook.hours import DAY_H
from underlid.binmodel.outlook.spread import MEMBERS
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import LidLook, Sighting
from underlid.science.numeric import Floats
from underlid.timeline import HOUR_MS

FIT_H: Final = 7 * DAY_H
"""The week that is looked back on."""

LEVELS: Final = np.array([-1.534, -0.887, -0.489, -0.157, 0.157, 0.489, 0.887, 1.534])
"""Errors in units of their sd: the middles of eight equally likely parts of a normal distribution."""

OF_MEMBER: Final = np.arange(MEMBERS) % len(LEVELS)

TRANSFER_M_H: Final = 5.2
"""Flux per error of the lid's saturated vapour, g/m²h per g/m³: half of the 10.4 of the sensor alone
(science page: 2.9 mm/s), since the bed's side moves it by a quarter of that (`lid_flux.py`)."""

HEAD_SHARE: Final = 0.5
"""Of the way from shed to bed at which the headspace stands, until it is learnt."""

LOSS_SD_G_M2_H: Final = 3.0
"""Of a lid that nothing has been learnt of: 2 % of humidity are 4 g/m²h (our judgement)."""

LASTS_SHARE: Final = 0.6
LEARNT_SHARE: Final = 0.45
"""Of these errors, what goes the same way for a week; less where the keeper's looks have tied factor
and loss to each other (our judgement)."""

SEEN_SD_G_M2: Final = {
    LidLook.DRY: 3.0,
    LidLook.MIST: 10.0,
    LidLook.DROPS: 30.0,
    LidLook.DRIPPING: 40.0,
}
"""A keeper's word stands for a band of films (half its width)."""


def flux_doubt(window: BinWindow, room_g_m3: Floats) -> Floats:
    """Return the sd of the condensing flux that lasts, g/m²h, at each hour.

    *room_g_m3* is what air saturated at the bed holds more than at the shed's temperature.
    """
    _, factor_sd = lid_factor(window)
    share, loss_sd, lasts = HEAD_SHARE, LOSS_SD_G_M2_H, LASTS_SHARE
    if window.lessons is not None:
        share = window.lessons.head_share.value
        loss_sd = window.lessons.lid_loss_g_m2_h.sd
        lasts = LEARNT_SHARE if window.lessons.lid_loss_g_m2_h.learnt else LASTS_SHARE
    by_lid = TRANSFER_M_H * factor_sd * share * np.nan_to_num(room_g_m3)
    result: Floats = lasts * np.hypot(by_lid, loss_sd)
    return result


def films_now(window: BinWindow, film: LidFilm, flux: Floats) -> Floats:
    """Return the film at `window.now_ms` for each row of hourly *flux* over the last `FIT_H` hours."""
    hour, start, start_sd = _begin(window, film)
    held: Floats = np.clip(start + start_sd * LEVELS, 0.0, FILM_MOST_G_M2)
    for first in range(hour, FIT_H, DAY_H):
        part = flux[:, first : min(first + DAY_H, FIT_H)]
        total = held[:, None] + np.cumsum(part, axis=1)
        least = np.minimum(total.min(axis=1), 0.0)
        held = np.minimum(total[:, -1] - least, FILM_MOST_G_M2)
    return held


def _begin(window: BinWindow, film: LidFilm) -> tuple[int, float, float]:
    """Return the hour of the week to begin at, the film there and its sd: the last look, if any."""
    for entry in reversed(window.entries):
        if entry.at_ms > window.now_ms or not isinstance(entry.what, Sighting):
            continue
        hour = FIT_H - round((window.now_ms - entry.at_ms) / HOUR_MS)
        if hour <= 0:
            break
        if entry.what.lid is not None:
            return hour, SEEN_G_M2[entry.what.lid], SEEN_SD_G_M2[entry.what.lid]
    since = film.done - window.end + FIT_H * BUCKETS_PER_HOUR
    past = film.last(since)
    return 0, float(past[0]) if len(past) else 0.0, 0.0
