"""Moist air: saturation, dew point, absolute humidity, deficit, and how sure a dew point is.

Over liquid water throughout, also below 0 °C. Read `condensation.py` next.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.science.numeric import Numeric

MAGNUS_PA: Final = 610.94
MAGNUS_A: Final = 17.625
MAGNUS_B_C: Final = 243.04
"""Alduchov and Eskridge 1996, equation 21 [alduchov1996]."""

GAS_CONSTANT_VAPOUR_J_KG_K: Final = 461.5
KELVIN: Final = 273.15
RATIO_OF_MASSES: Final = 0.621945
"""Molar mass of water over that of dry air [ashrae2017]."""

LOWEST_RH_PCT: Final = 0.1
"""A dew point needs some water: drier readings are taken as this (our judgement)."""


def saturation_vapour_pressure_pa(temp_c: Numeric) -> Numeric:
    """Return the vapour pressure over water at saturation, in Pa.

    Parameters
    ----------
    temp_c
        Air temperature, °C. *Valid for* −40..50 °C, within 0.3 % of Hyland–Wexler over 0..50 °C.

    Source: Magnus form of [alduchov1996].

    >>> print(round(saturation_vapour_pressure_pa(25.0), 1))
    3161.7
    """
    result: Numeric = MAGNUS_PA * np.exp(MAGNUS_A * temp_c / (MAGNUS_B_C + temp_c))
    return result


def saturation_vapour_pressure_hyland_wexler_pa(temp_c: Numeric) -> Numeric:
    """Return the vapour pressure over water at saturation, in Pa, by Hyland and Wexler.

    Parameters
    ----------
    temp_c
        Air temperature, °C. *Valid for* 0..200 °C.

    Source: equation 6 of chapter 1 of [ashrae2017]; coefficients from memory.

    >>> print(round(saturation_vapour_pressure_hyland_wexler_pa(25.0), 1))
    3169.2
    """
    kelvin = temp_c + KELVIN
    result: Numeric = np.exp(
        -5.8002206e3 / kelvin
        + 1.3914993
        - 4.8640239e-2 * kelvin
        + 4.1764768e-5 * kelvin**2
        - 1.4452093e-8 * kelvin**3
        + 6.5459673 * np.log(kelvin)
    )
    return result


def vapour_pressure_pa(temp_c: Numeric, rh_pct: Numeric) -> Numeric:
    """Return the vapour pressure, in Pa, of air at *temp_c* (°C) and *rh_pct* (0..100 %).

    Source: definition of relative humidity over water, [alduchov1996].

    >>> print(round(vapour_pressure_pa(20.0, 50.0), 1))
    1166.7
    """
    result: Numeric = saturation_vapour_pressure_pa(temp_c) * rh_pct / 100.0
    return result


def dew_point_c(temp_c: Numeric, rh_pct: Numeric) -> Numeric:
    """Return the temperature, in °C, at which the air's water would begin to condense.

    Parameters
    ----------
    temp_c, rh_pct
        Air temperature, °C (−40..50), and relative humidity over water, % (0.1..100).

    The exact inverse of `saturation_vapour_pressure_pa`; over water, also below 0 °C.

    Source: [alduchov1996].

    >>> print(round(dew_point_c(22.0, 92.0), 2))
    20.64
    """
    share = np.log(np.maximum(rh_pct, LOWEST_RH_PCT) / 100.0)
    gamma = share + MAGNUS_A * temp_c / (MAGNUS_B_C + temp_c)
    result: Numeric = MAGNUS_B_C * gamma / (MAGNUS_A - gamma)
    return result


def dew_point_sd_k(temp_c: Numeric, rh_pct: Numeric, rh_sd_pct: float, temp_sd_k: float) -> Numeric:
    """Return the standard deviation of the dew point, in K, by first-order propagation.

    Parameters
    ----------
    temp_c, rh_pct
        Air temperature, °C, and relative humidity, %.
    rh_sd_pct, temp_sd_k
        Standard deviations of the two, % and K.

    Source: the derivative of `dew_point_c`.

    >>> print(round(dew_point_sd_k(22.5, 95.0, 2.0, 0.0), 2))
    0.34
    """
    share = np.log(np.maximum(rh_pct, LOWEST_RH_PCT) / 100.0)
    gamma = share + MAGNUS_A * temp_c / (MAGNUS_B_C + temp_c)
    per_gamma = MAGNUS_B_C * MAGNUS_A / (MAGNUS_A - gamma) ** 2
    from_rh = per_gamma * rh_sd_pct / np.maximum(rh_pct, LOWEST_RH_PCT)
    from_temp = per_gamma * MAGNUS_A * MAGNUS_B_C / (MAGNUS_B_C + temp_c) ** 2 * temp_sd_k
    result: Numeric = np.hypot(from_rh, from_temp)
    return result


def absolute_humidity_g_m3(temp_c: Numeric, rh_pct: Numeric) -> Numeric:
    """Return the mass of vapour in a cubic metre of air, in g/m³.

    Source: ideal gas law with R_v = 461.5 J/kgK [ashrae2017].

    >>> print(round(absolute_humidity_g_m3(25.0, 95.0), 2))
    21.83
    """
    kelvin = temp_c + KELVIN
    result: Numeric = (
        1000.0 * vapour_pressure_pa(temp_c, rh_pct) / (GAS_CONSTANT_VAPOUR_J_KG_K * kelvin)
    )
    return result


def humidity_ratio(vapour_pressure_pa: Numeric, pressure_pa: Numeric) -> Numeric:
    """Return the kg of vapour per kg of dry air at a total pressure, both in Pa.

    Source: equation 20 of chapter 1 of [ashrae2017].

    >>> print(round(humidity_ratio(3169.7, 95461.0), 6))
    0.02136
    """
    result: Numeric = RATIO_OF_MASSES * vapour_pressure_pa / (pressure_pa - vapour_pressure_pa)
    return result


def vapour_pressure_deficit_pa(temp_c: Numeric, rh_pct: Numeric) -> Numeric:
    """Return what the vapour pressure lacks to saturation, in Pa: the pull of drying.

    Source: [alduchov1996].

    >>> print(round(vapour_pressure_deficit_pa(30.0, 40.0), 1))
    2542.0
    """
    result: Numeric = saturation_vapour_pressure_pa(temp_c) * (1.0 - rh_pct / 100.0)
    return result
