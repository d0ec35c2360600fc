"""How much water a bed lacks, and in how many mistings it is given."""

from __future__ import annotations

import math
from typing import Final

from underlid.journal.units import SI, Units, volume_text
from underlid.rules.finding import Advice
from underlid.science.moisture import water_to_add_g

MISTING_ML_PER_KG: Final = 25.0
"""What a bed takes up without draining, mL per kg of bed and day (our judgement)."""

LEAST_ML: Final = 50.0


def water_dose(
    bed_kg: float, moisture_pct: float, target_pct: float, units: Units = SI
) -> tuple[Advice, ...]:
    """Return the water that brings a bed to the target, split into daily mistings.

    Parameters
    ----------
    bed_kg
        Mass of the bed as it is, kg.
    moisture_pct, target_pct
        Moisture now and aimed at, % wet basis.

    Source: W = Q (G − M)/(1 − G), mass balance.
    """
    whole_ml = water_to_add_g(bed_kg, moisture_pct, target_pct)
    dose_ml = round(whole_ml / 50.0) * 50.0
    if dose_ml < LEAST_ML:
        return ()
    days = max(1, math.ceil(dose_ml / (MISTING_ML_PER_KG * bed_kg)))
    each = round(dose_ml / days / 10.0) * 10.0
    spread = "" if days == 1 else f", {volume_text(each, units)} a day for {days} days"
    working = (
        f"W = Q·(G − M)/(1 − G): Q {bed_kg:.1f} kg, M {moisture_pct:.1f} %, G {target_pct:.0f} %"
        f" gives {whole_ml:.0f} mL. At most {MISTING_ML_PER_KG:.0f} mL per kg and day soaks in"
        " (our judgement)."
    )
    text = f"Give about {volume_text(dose_ml, units)} of water{spread}."
    return (Advice("add-water", text, amount_ml=dose_ml, working=working),)
