"""The film on the lid over the next 72 hours.

What condenses follows the vapour that the bed's warmth over the shed makes room for: flux = a + b ·
(saturated at the bed − saturated at the shed). Both numbers are fitted to the last days of estimated
flux, so humidity, cover and ventilation are in them. The film is run for many courses, since it ends
at zero and drips at the top.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from underlid.binmodel.hot import BUCKETS_PER_HOUR
from underlid.binmodel.lid import FILM_MOST_G_M2, LidFilm, breathing_g_m2_h
from underlid.binmodel.outlook.film_now import FIT_H, LEVELS, OF_MEMBER, films_now, flux_doubt
from underlid.binmodel.outlook.hours import AHEAD_H, FUTURE_H, PAST_H, Hours, hourly, newest
from underlid.binmodel.outlook.shed_outlook import Ahead, last_two
from underlid.binmodel.outlook.spread import ORIGINS, SHAPES, leads_of, spread_of
from underlid.binmodel.window import BinWindow
from underlid.science.numeric import Floats
from underlid.science.psychrometrics import absolute_humidity_g_m3

HALVES_H: Final = 48.0
"""The last week is fitted, an hour counting half as much as the one two days later."""

SLOPE: Final = 2.2
SLOPE_SD: Final = 1.0
"""g/m²h per g/m³: 2–3.4 g/m²h for a kelvin of bed over shed (science page), over 1.15 g/m³."""

MOST_SLOPE: Final = 3.0
MOST_LEVEL_G_M2_H: Final = 1.0
"""More does not condense: 3.4 g/m²h for a kelvin of bed over shed, and what is not told from nothing."""

LEVEL_SD_G_M2_H: Final = 6.0
FLUX_SD_G_M2_H: Final = 1.5
"""Of the flux that the line does not explain (our judgement)."""

PRIOR_H: Final = 12.0
LEFT_FADES_H: Final = 12.0
STALE_H: Final = 3
LEAST_H: Final = 6


@dataclass(frozen=True, slots=True)
class FilmAhead:
    """Courses of the film, members by hours, at 1, 2, … hours ahead, and where each begins."""

    now: Floats
    members: Floats
    hours: int
    """Known hours that it rests on."""


def film_ahead(
    window: BinWindow, film: LidFilm, hours: Hours, shed: Ahead | None, bed: Ahead | None
) -> FilmAhead | None:
    """Return the film ahead; None where shed, bed or flux are not known."""
    if shed is None or bed is None:
        return None
    flux = hourly(film.last_flux(FIT_H * BUCKETS_PER_HOUR, window.end)) - breathing_g_m2_h(window)
    room = vapour_room(hours.bed_c, hours.shed_c)
    past = room[-FIT_H:]
    use = ~(np.isnan(flux) | np.isnan(past))
    if use.sum() < LEAST_H or newest(flux, STALE_H) is None:
        return None
    level, slope = _line(past, flux, use)
    left = np.concatenate([np.full(PAST_H - FIT_H, np.nan), flux - level - slope * past])
    before = last_two(left)
    fades = np.exp(-(np.arange(FUTURE_H) + 0.5) / LEFT_FADES_H)
    now = newest(before, STALE_H) or 0.0
    room_ahead = vapour_room(bed.mean, shed.mean)
    most = MOST_SLOPE * np.maximum(room_ahead, 0.0) + MOST_LEVEL_G_M2_H
    ahead = np.minimum(level + slope * room_ahead + now * fades, most)
    sd = _summed_sd(left, before, fades, slope, bed, shed)
    doubt = flux_doubt(window, np.concatenate([past, room_ahead]))
    off = LEVELS[:, None] * doubt
    held = films_now(window, film, np.nan_to_num(flux + off[:, :FIT_H]))
    summed = np.cumsum(ahead)[:AHEAD_H] + SHAPES[:, :AHEAD_H] * sd[:AHEAD_H]
    steps = np.diff(summed, axis=1, prepend=0.0) + off[OF_MEMBER, FIT_H : FIT_H + AHEAD_H]
    held = held[OF_MEMBER]
    return FilmAhead(held, _run(held, steps), int(use.sum()))


def vapour_room(bed_c: Floats, shed_c: Floats) -> Floats:
    """Return what vapour air saturated at the bed holds more than at the shed's temperature, g/m³."""
    full = np.full(len(bed_c), 100.0)
    result: Floats = absolute_humidity_g_m3(bed_c, full) - absolute_humidity_g_m3(shed_c, full)
    return result


def _line(room: Floats, flux: Floats, use: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """Return level and slope, by weighted least squares with the prior."""
    weight = 0.5 ** ((FIT_H - np.arange(FIT_H)) / HALVES_H)[use] / PRIOR_H
    x, y = room[use], flux[use]
    scale = FLUX_SD_G_M2_H**2
    a = np.array([
        [(weight.sum()) / scale + 1.0 / LEVEL_SD_G_M2_H**2, (weight @ x) / scale],
        [(weight @ x) / scale, (weight @ (x * x)) / scale + 1.0 / SLOPE_SD**2],
    ])  # fmt: skip
    b = np.array([(weight @ y) / scale, (weight @ (x * y)) / scale + SLOPE / SLOPE_SD**2])
    level, slope = np.linalg.solve(a, b).tolist()
    return level, max(0.0, slope)


def _summed_sd(
    left: Floats, before: Floats, fades: Floats, slope: float, bed: Ahead, shed: Ahead
) -> Floats:
    """Return how wrong the sum of the flux may be at each lead, from past sums."""
    driver = np.nan_to_num(slope * GRAMS_PER_K * (bed.errors - shed.errors))
    error = leads_of(left) - before[ORIGINS][:, None] * fades + driver
    unknown = np.isnan(error)
    summed = np.where(unknown, np.nan, np.cumsum(np.where(unknown, 0.0, error), axis=1))
    summed[np.cumsum(unknown, axis=1) > SHORT_H] = np.nan
    count = np.arange(1, FUTURE_H + 1)
    temps = slope * GRAMS_PER_K * np.hypot(bed.sd, shed.sd) / 2.0
    prior = np.hypot(FLUX_SD_G_M2_H * np.sqrt(LEFT_FADES_H * count), np.cumsum(temps))
    return spread_of(summed, prior)


GRAMS_PER_K: Final = 1.15
"""Slope of saturated vapour near 22 °C, g/m³ per kelvin."""

SHORT_H: Final = 2

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
