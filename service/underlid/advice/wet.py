"""What to do about a bed that is too wet."""

from __future__ import annotations

from underlid.advice.bedding import drier_than, rounded_g
from underlid.journal.feedstocks import Feedstock
from underlid.journal.units import SI, Units, mass_text
from underlid.rules.finding import Advice
from underlid.science.mixing import bedding_for_target_g


def drier_bed(
    bed_kg: float, moisture_pct: float, target_pct: float, bedding: Feedstock, units: Units = SI
) -> tuple[Advice, ...]:
    """Return the bedding that brings the whole bed to *target_pct*, and what else lets it dry.

    Source: mass balance [cornell-mix].
    """
    bedding = drier_than(target_pct, bedding)
    if bedding.moisture_pct >= target_pct:
        return ()
    whole_g = bedding_for_target_g(1000.0 * bed_kg, moisture_pct, target_pct, bedding.moisture_pct)
    dose_g = rounded_g(whole_g)
    working = (
        f"B = Q·(M − G)/(G − Mb): Q {bed_kg:.1f} kg at M {moisture_pct:.1f} %, G {target_pct:.0f} %,"
        f" {bedding.label} Mb {bedding.moisture_pct:.0f} % gives {whole_g:.0f} g."
    )
    if dose_g <= 0.0:
        return ()
    text = (
        f"Mix about {mass_text(dose_g, units)} of dry {bedding.label} into the top of the bed, open"
        " the drain and hold wet feeds back."
    )
    return (Advice("add-bedding", text, amount_g=dose_g, working=working),)
