"""What becomes of food that lies in a bed: the herd eats of it, and the rest rots away by itself.

How likely a feed has gone, and when, is in `used_up.py`.
"""

from __future__ import annotations

from math import exp, log
from typing import Final

import numpy as np

from underlid.science.numeric import Numeric

ROTTEN_DAYS: Final = 7.8
"""Days at 20 °C until a tenth is left of what falls apart by 1 and decays by 0.35 a day: solved from
the two pools of the science page, heat."""

ROTS_PER_D: Final = log(10.0) / ROTTEN_DAYS
"""So fast what nobody eats goes away, 1/d at 20 °C."""

LEAST_ROTTED: Final = 1e-6


def left_after(mass_g: Numeric, eaten_g: Numeric, rotted: float) -> Numeric:
    """Return what is left of food that was eaten and rotted at even paces for a while, g.

    Parameters
    ----------
    mass_g
        What there was.
    eaten_g
        What the herd could eat in that while.
    rotted
        Rate of rotting times the while, 0 and more.

    Source: dm/dt = −a − k m, solved.

    >>> [round(float(left_after(1000.0, 400.0, rotted))) for rotted in (0.0, 0.6)]
    [600, 248]
    """
    rest = exp(-rotted)
    share = (1.0 - rest) / rotted if rotted > LEAST_ROTTED else 1.0
    result: Numeric = np.maximum(0.0, mass_g * rest - eaten_g * share)
    return result
