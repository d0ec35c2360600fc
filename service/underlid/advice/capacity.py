"""How much a herd eats a day, with its band.

The day on which a given feed is gone follows from it; dosing a feed by it is not done here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from underlid.journal.units import SI, Units, mass_text, temp_text
from underlid.rules.finding import Advice
from underlid.science.heat import ROSSO_MIN_C, worm_activity

EATEN_KG_KG_D: Final = 0.25
EATEN_BAND_KG_KG_D: Final = (0.14, 0.5)
"""Food a kg of worms and day at the best temperature: common practice; published figures and
extension rules run between the two ends of the band."""

COUNTED_G: Final = 10.0
"""Appetites are shown in steps of so many grams: the band is far wider (our judgement)."""


@dataclass(frozen=True, slots=True)
class Appetite:
    """What a herd eats, g a day, with the ends of its band, and its activity, 0..1."""

    eaten_g_d: float
    low_g_d: float
    high_g_d: float
    activity: float

    def days_for(self, feed_g: float) -> float:
        """Return the days that a feed of *feed_g* lasts; infinite for a herd that does not eat."""
        if feed_g <= 0.0:
            return 0.0
        return feed_g / self.eaten_g_d if self.eaten_g_d > 0.0 else float("inf")


def appetite(herd_kg: float, bed_temp_c: float, cold_end_c: float = ROSSO_MIN_C) -> Appetite:
    """Return what a herd eats a day at the bed's temperature.

    Parameters
    ----------
    herd_kg
        Mass of the worms, kg.
    bed_temp_c
        Temperature of the bed, °C.
    cold_end_c
        Where this herd stops eating, °C: its own cold limit; 4 °C for *Eisenia*.

    Source: 0.25 kg a kg and day, common practice, times the activity of [rosso1993].

    >>> round(appetite(1.2, 20.0).eaten_g_d)
    255
    """
    activity = worm_activity(bed_temp_c, min_c=cold_end_c)
    low, middle, high = (
        1000.0 * herd_kg * rate * activity
        for rate in (EATEN_BAND_KG_KG_D[0], EATEN_KG_KG_D, EATEN_BAND_KG_KG_D[1])
    )
    return Appetite(middle, low, high, activity)


def feed_capacity(
    herd_kg: float, bed_temp_c: float, cold_end_c: float = ROSSO_MIN_C, units: Units = SI
) -> tuple[Advice, ...]:
    """Return the most to feed a day, as advice; or to feed nothing while the herd does not eat."""
    eats = appetite(herd_kg, bed_temp_c, cold_end_c)
    working = (
        f"Herd {herd_kg:.2f} kg × {EATEN_KG_KG_D} kg/kg and day × activity {eats.activity:.2f} at"
        f" {bed_temp_c:.1f} °C gives {eats.eaten_g_d:.0f} g a day"
        f" ({eats.low_g_d:.0f} to {eats.high_g_d:.0f}). Source: common practice; activity after"
        " Rosso 1993."
    )
    dose_g = round(eats.eaten_g_d / COUNTED_G) * COUNTED_G
    if dose_g <= 0.0:
        where = temp_text(bed_temp_c, units)
        text = f"Feed nothing for now: at {where} the herd hardly eats."
        return (Advice("hold-feeding", text, working=working),)
    text = f"Feed at most about {mass_text(dose_g, units)} a day."
    return (Advice("feed-at-most", text, amount_g=dose_g, working=working),)
