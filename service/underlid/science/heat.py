"""Heat of a bed: what it holds, what it makes, how fast it falls, and what the worms make of it."""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.science.numeric import Numeric

WATER_KJ_KG_K: Final = 4.18
SOLIDS_KJ_KG_K: Final = 1.2
"""Dry organic matter (common practice in composting texts)."""

HEAT_MJ_KG_VS: Final = 17.0
"""Heat of decaying volatile solids, lower end of 17..20 MJ/kg (from memory of [haug1993])."""

HYDROLYSIS_PER_D: Final = 1.0
DECAY_PER_D: Final = 0.35
"""First-order rates at 20 °C: soft food falls apart, and what fell apart burns (common practice)."""

ROSSO_MIN_C: Final = 4.0
ROSSO_OPT_C: Final = 25.0
ROSSO_MAX_C: Final = 35.0
"""Cardinal temperatures of *Eisenia* (common practice)."""

STERILE_C: Final = 100.0
"""Well above where Haug's factor comes to 0 (80 °C)."""

HOURS_PER_DAY: Final = 24.0


def bed_heat_capacity_j_k(mass_kg: float, moisture_pct: float) -> float:
    """Return the heat that warms a bed of *mass_kg* at *moisture_pct* (wet basis) by 1 K, in J/K.

    Source: mixture of water and dry matter, common practice.

    >>> print(round(bed_heat_capacity_j_k(22.0, 80.0)))
    78848
    """
    wet = moisture_pct / 100.0
    return 1000.0 * mass_kg * (WATER_KJ_KG_K * wet + SOLIDS_KJ_KG_K * (1.0 - wet))


def self_heat_k(
    bed_temp_c: Numeric, bed_rate_k_h: Numeric, ambient_c: Numeric, time_constant_h: float
) -> Numeric:
    """Return the warming that the surroundings do not explain, Q/UA, in kelvin.

    Parameters
    ----------
    bed_temp_c, ambient_c
        Bed and surrounding air, °C.
    bed_rate_k_h
        How fast the bed warms, K/h.
    time_constant_h
        τ = C/UA of the bin, hours.

    Source: lumped balance C dT/dt = Q − UA (T − T_amb).

    >>> self_heat_k(26.0, 0.2, 20.0, 5.0)
    7.0
    """
    result: Numeric = bed_temp_c + time_constant_h * bed_rate_k_h - ambient_c
    return result


def decay_rate_factor(temp_c: Numeric) -> Numeric:
    """Return the rate of decay at *temp_c* (°C) over that at 20 °C; 0 where nothing lives.

    *Valid for* 0..80 °C; nothing lives in what is hotter. Source: [haug1993], from memory.

    >>> print(round(decay_rate_factor(40.0), 3))
    3.568
    """
    held: Numeric = np.minimum(temp_c, STERILE_C)
    result: Numeric = np.maximum(1.066 ** (held - 20.0) - 1.21 ** (held - 60.0), 0.0)
    return result


def first_order_pulse_k(
    hours: Numeric,
    volatile_kg: float,
    rate_per_d: float,
    heat_capacity_j_k: float,
    loss_w_k: float,
    *,
    heat_mj_kg: float = HEAT_MJ_KG_VS,
) -> Numeric:
    """Return how much warmer a bed is, in K, *hours* after a pool of food began to decay.

    Parameters
    ----------
    hours
        Time since the food went in.
    volatile_kg, rate_per_d
        The pool of volatile solids and its first-order rate.
    heat_capacity_j_k, loss_w_k
        C and UA of the bin.
    heat_mj_kg
        Heat of a kilogram of volatile solids.

    Source: analytic solution of the lumped balance with an exponential source of another rate.

    >>> print(round(first_order_pulse_k(14.2, 0.17, 0.35, 82e3, 4.5), 2))
    2.11
    """
    decay_per_h = rate_per_d / HOURS_PER_DAY
    cool_per_h = loss_w_k * 3600.0 / heat_capacity_j_k
    warm_k_h = heat_mj_kg * 1e6 * volatile_kg * decay_per_h / heat_capacity_j_k
    faster_per_h = cool_per_h - decay_per_h
    if faster_per_h == 0.0:
        grown: Numeric = hours
    else:
        grown = -np.expm1(-faster_per_h * hours) / faster_per_h
    result: Numeric = warm_k_h * np.exp(-decay_per_h * hours) * grown
    return result


def worm_activity(
    temp_c: float,
    min_c: float = ROSSO_MIN_C,
    opt_c: float = ROSSO_OPT_C,
    max_c: float = ROSSO_MAX_C,
) -> float:
    """Return how active worms are at *temp_c* (°C): 1 at the best temperature, 0 at the ends.

    Source: cardinal temperature model with inflection, [rosso1993].

    >>> print(round(worm_activity(15.0), 3))
    0.524
    """
    if not min_c < temp_c < max_c:
        return 0.0
    above = (temp_c - max_c) * (temp_c - min_c) ** 2
    below = (opt_c - min_c) * (
        (opt_c - min_c) * (temp_c - opt_c) - (opt_c - max_c) * (opt_c + min_c - 2.0 * temp_c)
    )
    return above / below
