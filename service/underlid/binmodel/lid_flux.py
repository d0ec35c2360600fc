"""The condensing flux of a lid from two sides: what the humidity sensor says, and what a bed can give.

A humidity sensor near saturation is good for ±2 % at best, and 2 % are 4 g/m²h, 100 g/m² in a day. A
closed bin over a wet bed is a still: what leaves the bed condenses on the lid, so the flux follows
from bed and lid temperatures alone, to within the cover and the gaps. The two are weighed by their
uncertainty; a sensor that reads far below what a closed bin would show tells of a bin that is open.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.science.condensation import MASS_TRANSFER_M_S, SECONDS_PER_HOUR, flux_g_m2_h
from underlid.science.numeric import Floats
from underlid.science.psychrometrics import absolute_humidity_g_m3

CLOSED_M_H: Final = 2.6
"""From bed to lid, flux per vapour difference: a third to a quarter of one surface's velocity, which
gives the 2–3.4 g/m²h for a kelvin of bed over shed of the science page."""

CLOSED_SD_SHARE: Final = 0.5
CLOSED_SD_G_M2_H: Final = 3.0
"""Cover, gaps and sensor offsets: half of it, and 0.3 K between bed and lid probes (our judgement)."""

SURFACE_SHARE: Final = 0.2
"""The bed's surface lies this share of the way from its probe to the headspace (our judgement)."""

OPEN_FROM: Final = 1.5
OPEN_AT: Final = 3.0
"""In standard deviations below the closed bin: where the sensor begins to be believed alone, and where
it is."""

VAPOUR_PER_K: Final = 0.06
"""Saturated vapour grows by this share for a kelvin near 20 °C."""

RH_SD_PCT: Final = 2.0
TEMP_SD_K: Final = 0.3
"""Of a headspace sensor of the common kind (data sheets)."""


def believed_flux_g_m2_h(
    head_c: Floats,
    rh_pct: Floats,
    lid_c: Floats,
    bed_c: Floats,
    span_k: Floats,
    factor_sd: float,
) -> Floats:
    """Return the condensing flux, g/m²h, negative while the lid dries; NaN where it is not known.

    Parameters
    ----------
    head_c, rh_pct
        Headspace, °C and believed %RH.
    lid_c
        Inside of the lid, °C, measured or estimated.
    bed_c
        Bed, °C; where it is NaN the sensor is believed alone.
    span_k
        Headspace minus shed, K, for the error of an estimated lid; NaN counts as none.
    factor_sd
        Of the lid's temperature factor.
    """
    by_sensor = flux_g_m2_h(head_c, rh_pct, lid_c)
    surface_c = bed_c + SURFACE_SHARE * (head_c - bed_c)
    closed = CLOSED_M_H * (_full_g_m3(surface_c) - _full_g_m3(lid_c))
    closed_sd = np.hypot(CLOSED_SD_SHARE * closed, CLOSED_SD_G_M2_H)
    lid_sd_k = np.hypot(factor_sd * np.nan_to_num(span_k), TEMP_SD_K)
    sensor_sd = (
        MASS_TRANSFER_M_S
        * SECONDS_PER_HOUR
        * _full_g_m3(head_c)
        * np.hypot(RH_SD_PCT / 100.0, VAPOUR_PER_K * lid_sd_k)
    )
    both = np.square(sensor_sd) + np.square(closed_sd)
    mixed = by_sensor + (closed - by_sensor) * np.square(sensor_sd) / both
    below = (closed - by_sensor) / np.sqrt(both)
    is_open = np.clip((below - OPEN_FROM) / (OPEN_AT - OPEN_FROM), 0.0, 1.0)
    believed = mixed + is_open * (by_sensor - mixed)
    result: Floats = np.where(np.isnan(bed_c), by_sensor, believed)
    return result


def _full_g_m3(temp_c: Floats) -> Floats:
    """Return what saturated air holds, g/m³."""
    result: Floats = absolute_humidity_g_m3(temp_c, 100.0 + 0.0 * temp_c)
    return result
