"""What a keeper's word says of the film: how likely it is for each film, and where it takes it."""

from __future__ import annotations

from typing import Final

import numpy as np

from underlid.journal.entries import LidLook
from underlid.science.numeric import Floats

FILM_MOST_G_M2: Final = 300.0
"""What a lid holds before all that comes drips off: a little over the 250 g/m² where dripping begins."""

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


def likelihood(film: Floats, look: LidLook) -> Floats:
    """Return how likely a keeper says this of each film."""
    return LAPSE / len(BANDS_G_M2) + (1.0 - LAPSE) * _chance(film, look)


def seen(film: Floats, look: LidLook) -> Floats:
    """Return each film after the look: taken into the band that was seen, as far as it was outside."""
    result: Floats = np.clip(film, *BANDS_G_M2[look])
    return result


def _chance(film: Floats, look: LidLook) -> Floats:
    level = np.log(film + THIN_G_M2)
    low, high = BANDS_G_M2[look]
    above = np.ones_like(film)
    if low > 0.0:
        above = _normal_cdf((level - np.log(low + THIN_G_M2)) / BLUR)
    if high < FILM_MOST_G_M2:
        above = above - _normal_cdf((level - np.log(high + THIN_G_M2)) / BLUR)
    result: Floats = np.maximum(0.0, above)
    return result


def _normal_cdf(z: Floats) -> Floats:
    """Return the normal distribution function to 0.0002, by its logistic form."""
    result: Floats = 1.0 / (1.0 + np.exp(-1.5976 * z - 0.070565988 * z * z * z))
    return result
