"""The lid: its temperature, the water that condenses on it, and the film that gathers.

What a given bin's lid is like is `binmodel.lids`; here are the relations alone.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.science.numeric import Floats, Numeric
from underlid.science.psychrometrics import absolute_humidity_g_m3

MASS_TRANSFER_M_S: Final = 0.0029
"""h_m by the Lewis relation for h_c = 3 W/m²K at 25 °C: still air below a warm-sided lid
[iso13788] for the coefficient, computed here."""

SECONDS_PER_HOUR: Final = 3600.0

FILM_BANDS_G_M2: Final = ((30.0, "mist"), (70.0, "drops"), (250.0, "runs"))
"""Upper ends: fine mist below 30 g/m², drops to 70, runs down to 250, drips beyond. Limits after
BS 5250, from memory; the names are ours."""

DRY_G_M2: Final = 1.0
"""Below this a lid looks dry (our judgement)."""


def lid_temp_c(shed_temp_c: Numeric, headspace_temp_c: Numeric, factor: float) -> Numeric:
    """Return the estimated temperature of the inside of the lid, in °C.

    Parameters
    ----------
    shed_temp_c, headspace_temp_c
        Air outside and inside, °C.
    factor
        Temperature factor of the lid, 0 (as the shed) .. 1 (as the headspace).

    Source: definition of the temperature factor, [iso13788].

    >>> lid_temp_c(10.0, 20.0, 0.7)
    17.0
    """
    result: Numeric = shed_temp_c + factor * (headspace_temp_c - shed_temp_c)
    return result


def temperature_factor(surface_c: Numeric, outside_c: Numeric, inside_c: Numeric) -> Numeric:
    """Return f = (surface − outside)/(inside − outside), all in °C; not finite for equal airs.

    Source: [iso13788].

    >>> print(round(temperature_factor(12.6, 0.0, 20.0), 2))
    0.63
    """
    span = inside_c - outside_c
    with np.errstate(divide="ignore", invalid="ignore"):
        result: Numeric = np.divide(surface_c - outside_c, span + 0.0 * surface_c)
    return result


def flux_g_m2_h(headspace_temp_c: Numeric, rh_pct: Numeric, lid_temp_c: Numeric) -> Numeric:
    """Return the water that condenses on the lid, in g/m²h; negative while the lid dries.

    Parameters
    ----------
    headspace_temp_c, rh_pct
        Air below the lid, °C and %.
    lid_temp_c
        Inside of the lid, °C.

    Source: Lewis relation; for the order of size, an estimate without validation in bins.

    >>> print(round(flux_g_m2_h(22.0, 92.0, 20.0), 1))
    6.0
    """
    saturated = absolute_humidity_g_m3(lid_temp_c, 100.0 + 0.0 * lid_temp_c)
    excess = absolute_humidity_g_m3(headspace_temp_c, rh_pct) - saturated
    result: Numeric = MASS_TRANSFER_M_S * SECONDS_PER_HOUR * excess
    return result


def film_g_m2(
    flux_g_m2_h: Floats, step_h: float, film_max_g_m2: float, start_g_m2: float = 0.0
) -> tuple[Floats, float]:
    """Return the film after each of n steps, in g/m², and what dripped off in all, in g/m².

    Parameters
    ----------
    flux_g_m2_h
        Condensing (positive) or drying flux of each step; NaN counts as none.
    step_h
        Length of a step, hours.
    film_max_g_m2
        What the lid holds; the rest drips.
    start_g_m2
        The film before the first step.

    The film never falls below zero: then there is nothing to dry. Exact for the piecewise
    constant flux: a running sum reflected at zero, and at the most step by step if it is reached.

    >>> film, dripped = film_g_m2(np.array([10.0, 10.0, -30.0, 5.0]), 1.0, 250.0)
    >>> film.tolist(), dripped
    ([10.0, 20.0, 0.0, 5.0], 0.0)
    """
    steps = np.nan_to_num(flux_g_m2_h) * step_h
    total = start_g_m2 + np.cumsum(steps)
    film: Floats = total - np.minimum(np.minimum.accumulate(total), 0.0)
    if not len(film) or film.max() <= film_max_g_m2:
        return film, 0.0
    return _film_step_by_step(steps, film_max_g_m2, start_g_m2)


def _film_step_by_step(
    steps: Floats, film_max_g_m2: float, start_g_m2: float
) -> tuple[Floats, float]:
    """Walk through the steps one by one: both bounds are in play."""
    film, dripped, held = np.empty_like(steps), 0.0, start_g_m2
    for place, step in enumerate(steps.tolist()):
        held = max(0.0, held + step)
        if held > film_max_g_m2:
            dripped += held - film_max_g_m2
            held = film_max_g_m2
        film[place] = held
    return film, dripped


def film_band(film_g_m2: float) -> str:
    """Return the look of a film of so many g/m²: dry, mist, drops, runs or drips.

    >>> [film_band(film) for film in (0.0, 12.0, 50.0, 180.0, 300.0)]
    ['dry', 'mist', 'drops', 'runs', 'drips']
    """
    if film_g_m2 < DRY_G_M2:
        return "dry"
    return next((name for end, name in FILM_BANDS_G_M2 if film_g_m2 < end), "drips")
