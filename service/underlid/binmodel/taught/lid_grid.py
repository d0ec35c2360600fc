"""The film of one lid under every guess at once, and how well each guess fits what the keeper saw.

A guess is (temperature factor, what the lid loses beside, transfer scale). The film of each is run
hour by hour from one look to the next; at a look it is taken back into the band that was seen, as far
as it was outside. A keeper's word may be off by a neighbouring band.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.binmodel.lid import FILM_MOST_G_M2, RH_BELIEVED_MOST_PCT
from underlid.binmodel.lid_flux import believed_flux_g_m2_h
from underlid.journal.entries import LidLook
from underlid.science.numeric import Floats

FACTORS: Final = np.linspace(0.30, 1.0, 29)
LOSSES_G_M2_H: Final = np.linspace(-6.0, 6.0, 9)
"""Added to what a lid of this kind loses."""

SCALES: Final = np.array([0.65, 1.0, 1.5])
SCALE_WEIGHT: Final = np.log([0.25, 0.5, 0.25])
"""Transfer velocities of still air are known to about 40 % (our judgement)."""

BANDS_G_M2: Final = {
    LidLook.DRY: (0.0, 3.0),
    LidLook.MIST: (3.0, 30.0),
    LidLook.DROPS: (30.0, 240.0),
    LidLook.DRIPPING: (240.0, FILM_MOST_G_M2),
}
"""The film that a word covers: drops stand and run, then they fall (bands of the science page)."""

THIN_G_M2: Final = 6.0
"""Below this a film is hard to tell from none, so bands are compared by ln(film + this)."""

BLUR: Final = 0.45
"""Of that logarithm: how a keeper draws the line between bands (our judgement)."""

LAPSE: Final = 0.08
"""Share of looks that are a slip of the pen or of the memory (our judgement)."""


@dataclass(frozen=True, slots=True)
class Look:
    """What was seen at an hour of the past."""

    hour: float
    lid: LidLook


@dataclass(frozen=True, slots=True)
class Air:
    """Hourly headspace (°C, believed %RH), shed (°C) and measured lid, bed (°C), NaN where unknown."""

    head_c: Floats
    rh_pct: Floats
    shed_c: Floats
    lid_c: Floats
    bed_c: Floats


def log_likelihood(air: Air, looks: Sequence[Look], loss_g_m2_h: float) -> Floats:
    """Return ln P(looks | guess), (factors, losses, scales); *loss_g_m2_h* is the kind's own."""
    first, last = int(looks[0].hour), int(np.ceil(looks[-1].hour))
    excess = _excess_g_m2_h(air, slice(first, last))
    loss = (loss_g_m2_h + LOSSES_G_M2_H)[None, :, None]
    shape = (len(FACTORS), len(LOSSES_G_M2_H), len(SCALES))
    film = np.full(shape, _within(np.array(100.0), looks[0].lid))
    total = np.zeros(shape)
    at = looks[0].hour
    for look in looks[1:]:
        film = _run(film, excess[int(at) - first : int(look.hour) - first], loss)
        total += np.log(LAPSE / 4.0 + (1.0 - LAPSE) * _chance(film, look.lid))
        film = _within(film, look.lid)
        at = look.hour
    return total


def _excess_g_m2_h(air: Air, span: slice) -> Floats:
    """Return the condensing flux for each hour and factor, (hours, factors); 0 where unknown."""
    head, shed, lid = air.head_c[span, None], air.shed_c[span, None], air.lid_c[span, None]
    guessed = shed + FACTORS * (head - shed)
    surface = np.where(np.isnan(lid), guessed, lid)
    rh = np.minimum(air.rh_pct[span, None], RH_BELIEVED_MOST_PCT)
    flux = believed_flux_g_m2_h(head, rh, surface, air.bed_c[span, None], head - shed, 0.0)
    result: Floats = np.nan_to_num(flux)
    return result


def _run(film: Floats, excess: Floats, loss: Floats) -> Floats:
    """Return the film after the hours of *excess*."""
    film = film.copy()
    for gain in excess[:, :, None, None] * SCALES:
        film += gain
        film -= loss
        np.maximum(film, 0.0, out=film)
        np.minimum(film, FILM_MOST_G_M2, out=film)
    return film


def _within(film: Floats, lid: LidLook) -> Floats:
    low, high = BANDS_G_M2[lid]
    result: Floats = np.clip(film, low, high)
    return result


def _chance(film: Floats, lid: LidLook) -> Floats:
    """Return how likely a keeper calls *film* by this word."""
    level = np.log(film + THIN_G_M2)
    low, high = BANDS_G_M2[lid]
    above = 1.0 if low == 0.0 else _normal_cdf((level - np.log(low + THIN_G_M2)) / BLUR)
    beyond = (
        0.0 if high >= FILM_MOST_G_M2 else _normal_cdf((level - np.log(high + THIN_G_M2)) / BLUR)
    )
    result: Floats = np.maximum(0.0, above - beyond)
    return result


def _normal_cdf(z: Floats) -> Floats:
    """Return the normal distribution function to 0.0002, by its logistic form."""
    result: Floats = 1.0 / (1.0 + np.exp(-1.5976 * z - 0.070565988 * z * z * z))
    return result
