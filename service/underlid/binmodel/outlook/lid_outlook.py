"""The film on the lid over the next 72 hours.

Every guess of what the lid is like (`lids/cloud.py`) goes on from its own film, as often as its weight
says, with its own law of what condenses: driven by the bed and the shed air that are foreseen, which
are wrong in a way of their own in every course. So what is not known of the lid, of the film now and of
the weather all widen the band.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.binmodel.lids.cloud import COVER_FADES_H, Cloud, Places
from underlid.binmodel.lids.film import LidFilm
from underlid.binmodel.lids.guesses import LID_FACTOR, SHED_RH_PCT
from underlid.binmodel.lids.head_line import SHARE_MOST
from underlid.binmodel.lids.looks import FILM_MOST_G_M2
from underlid.binmodel.lids.vapour import full_g_m3, settled
from underlid.binmodel.outlook.hours import AHEAD_H, DAY_H, Hours, hourly, newest
from underlid.binmodel.outlook.shed_outlook import shed_ahead
from underlid.binmodel.outlook.spread import MEMBERS, SHAPES
from underlid.binmodel.outlook.warmth import Warmth, over_sd_k
from underlid.binmodel.probes.hot import BUCKETS_PER_HOUR, WINDOW_BUCKETS
from underlid.binmodel.window import BinWindow
from underlid.science.numeric import Floats

STALE_H: Final = 3
FLUX_SD_G_M2_H: Final = 0.7
"""Of a day's flux, beside what the guesses and the weather say (our judgement)."""

WET_WHILE_DRYING: Final = 0.5
"""The walls hold little, so half of the time when they could dry they are dry (our judgement)."""

OTHER: Final = (np.arange(MEMBERS) * 27 + 13) % MEMBERS
"""Which second error goes with a course: those of the weather and of the flux are not alike."""


@dataclass(frozen=True, slots=True)
class FilmAhead:
    """Courses of the film, members by hours, at 1, 2, … hours ahead."""

    members: Floats
    hours: int
    """Known hours that it rests on."""


def film_ahead(window: BinWindow, film: LidFilm, warmth: Warmth) -> FilmAhead | None:
    """Return the film ahead; None where shed or bed are not known."""
    hours, shed, bed, cloud = warmth.hours, warmth.shed, warmth.bed, film.at_hour
    if bed is None or cloud is None or not film.known_lately(STALE_H):
        return None
    shed_c = hours.shed_c
    blind = shed is None
    if shed is None:
        shed_c = _guessed_shed_c(window, cloud, hours)
        shed = shed_ahead(shed_c)
    over = hours.bed_c - shed_c
    if shed is None or newest(over, STALE_H) is None:
        return None
    chosen = members_of(cloud)
    sd = over_sd_k(shed, bed) if warmth.over_sd_k is None else warmth.over_sd_k
    ahead = bed.mean - shed.mean + SHAPES * sd
    flux = _flux(
        cloud,
        chosen,
        _factors(window, cloud)[chosen],
        ahead[:, :AHEAD_H],
        bed.mean[:AHEAD_H],
        _shed_rh_pct(window),
        blind=blind,
    )
    flux = flux + FLUX_SD_G_M2_H * SHAPES[OTHER, DAY_H : DAY_H + 1]
    return FilmAhead(_run(cloud.film[chosen], flux), int((~np.isnan(over)).sum()))


def _guessed_shed_c(window: BinWindow, cloud: Cloud, hours: Hours) -> Floats:
    """Return the air of a shed that has no probe, from bed and headspace."""
    head_c = hourly(window.means("headspace_temp_c", WINDOW_BUCKETS))
    result: Floats = hours.bed_c - (hours.bed_c - head_c) / (1.0 - min(cloud.share, SHARE_MOST))
    return result


def members_of(cloud: Cloud) -> Places:
    """Return which guess each course goes on from: as often as its weight says, drier ones first."""
    order = np.argsort(cloud.film, kind="stable")
    shares = (np.arange(MEMBERS) + 0.5) / MEMBERS
    at = np.searchsorted(np.cumsum(cloud.weight[order]), shares)
    return order[np.minimum(at, len(order) - 1)]


def _flux(
    cloud: Cloud,
    chosen: Places,
    factor: Floats,
    over_k: Floats,
    bed_c: Floats,
    shed_rh_pct: float,
    *,
    blind: bool,
) -> Floats:
    """Return what condenses in each hour, courses by hours, g/m²; negative where the lid dries."""
    guesses, share = cloud.guesses, cloud.share

    def of(values: Floats) -> Floats:
        return values[chosen][:, None]

    if blind:
        over, head_over = cloud.unseen_over_k(over_k * (1.0 - min(share, SHARE_MOST)), chosen)
        shed_c = bed_c - over
    else:
        shed_c = bed_c - over_k
        over = over_k - of(guesses.bed_off_k)
        head_over = share * over
    surface = shed_c + over + of(guesses.surface) * (head_over - over)
    lid_c = shed_c + factor[:, None] * head_over
    at_lid, at_walls = full_g_m3(lid_c), full_g_m3(shed_c + of(guesses.walls_factor) * head_over)
    cover = cloud.cover_kg_m2 * np.exp(-np.arange(over.shape[1]) / COVER_FADES_H)
    moving = np.where(lid_c > surface, of(guesses.still_share), 1.0)
    off_bed = moving * of(guesses.bed_m_h) / (1.0 + cover / of(guesses.cover_kg_m2))
    outside = full_g_m3(shed_c) * shed_rh_pct / 100.0
    inside, onto, _ = settled(
        off_bed * full_g_m3(surface) + of(guesses.out_m_h) * outside,
        off_bed + of(guesses.out_m_h),
        (moving * of(guesses.lid_m_h), at_lid, 1.0),
        (of(guesses.walls_m_h), at_walls, WET_WHILE_DRYING),
    )
    through = of(guesses.through_m_h) * np.maximum(0.0, at_lid - outside)
    result: Floats = onto * (of(cloud.drier) * inside - at_lid) - through
    return result


def _factors(window: BinWindow, cloud: Cloud) -> Floats:
    """Return the lid's temperature factor in each guess: a lid with a probe has shown its own.

    The film of a measured lid never asked for the factor, so the weights do not know it. A probe that is
    too high hides a lid that is colder, also ahead: line and offset are told by the same hours.
    """
    factor = cloud.guesses.factor
    measured = window.means("lid_temp_c", STALE_H * BUCKETS_PER_HOUR)
    if window.lessons is None or np.isnan(measured).all():
        return factor
    middle, sd = LID_FACTOR[window.bin.kind]
    learnt = window.lessons.lid_factor
    result: Floats = learnt.value - learnt.sd * (factor - middle) / sd
    return result


def _shed_rh_pct(window: BinWindow) -> float:
    """Return the shed's humidity of the last day, as it is taken to go on."""
    known = window.means("shed_rh_pct", DAY_H * BUCKETS_PER_HOUR)
    known = known[~np.isnan(known)]
    return float(known.mean()) if len(known) else SHED_RH_PCT


PART_H: Final = 12
"""Reflection at zero is exact; what drips beyond the most a lid holds is taken off twice a day."""


def _run(held: Floats, steps: Floats) -> Floats:
    """Let the film grow and dry by *steps* (members by hours), between nothing and what a lid holds."""
    parts = []
    for first in range(0, steps.shape[1], PART_H):
        total = held[:, None] + np.cumsum(steps[:, first : first + PART_H], axis=1)
        film = total - np.minimum(np.minimum.accumulate(total, axis=1), 0.0)
        parts.append(np.minimum(film, FILM_MOST_G_M2))
        held = parts[-1][:, -1]
    return np.concatenate(parts, axis=1)
