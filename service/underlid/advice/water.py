"""How much water a bed lacks, in how many mistings it is given, and what evaporates meanwhile."""

from __future__ import annotations

import math
from typing import Final

from underlid.binmodel.water.bed import Bed
from underlid.journal.units import two_figures
from underlid.rules.finding import Advice

MISTING_ML_PER_KG: Final = 75.0
"""What a bed takes up without draining, mL per kg of bed and day, in two or three mistings (our
judgement)."""

LEAST_ML: Final = 50.0

DAYS_MOST: Final = 7
DAYS_MOST_BY_GUESS: Final = 5
"""So many days of mistings are advised at once, and so many where no sample says how dry the bed is: by
then the bed shows what it lacks (our judgement)."""

GAINS_LEAST_PCT: Final = 2.0
"""Where all the water advised at once gains fewer % points, the bed must lose less first (our
judgement)."""


def water_dose(
    bed: Bed,
    target_pct: float,
    loss_ml_d: float = 0.0,
    *,
    guess: bool = False,
) -> tuple[Advice, ...]:
    """Return the water that brings a bed to the target, split into daily mistings.

    Parameters
    ----------
    bed
        The bed as it is; the water still locked in its food will come by itself.
    target_pct
        Moisture aimed at, % wet basis.
    loss_ml_d
        What the bed loses a day meanwhile, mL.
    guess
        Whether its moisture is a guess, that of a probe which met no weighed sample.

    Source: mass balance of the bed's dry matter D, W = D (G/(1 − G) − M/(1 − M)) − locked water.
    """
    wanted_kg = bed.dry_kg * target_pct / (100.0 - target_pct)
    lacks_ml = 1000.0 * (wanted_kg - bed.water_kg - bed.locked_kg)
    a_day_ml = max(MISTING_ML_PER_KG * bed.mass_kg, 1.0)
    most_days = DAYS_MOST_BY_GUESS if guess else DAYS_MOST
    days = _days(lacks_ml, a_day_ml, loss_ml_d, most_days)
    part = days is None
    days = days or most_days
    meanwhile_ml = loss_ml_d * days if days > 1 else 0.0
    whole_ml = a_day_ml * days if part else lacks_ml + meanwhile_ml
    reached_pct = _with(bed, whole_ml - meanwhile_ml) if part else None
    leaky = reached_pct is not None and reached_pct - _with(bed, 0.0) < GAINS_LEAST_PCT
    dose_ml = round(whole_ml / 50.0) * 50.0
    if lacks_ml < LEAST_ML or dose_ml < LEAST_ML:
        return ()
    working = (
        f"W = D·(G/(1 − G) − M/(1 − M)): dry matter D {bed.dry_kg:.1f} kg, M"
        f" {bed.moisture_pct:.1f} %, target G {target_pct:.0f} %; {1000.0 * bed.locked_kg:.0f} mL are"
        f" still in the food: {two_figures(lacks_ml):.0f} mL lack, and"
        f" {two_figures(meanwhile_ml):.0f} mL evaporate until all is given. At most"
        f" {MISTING_ML_PER_KG:.0f} mL per kg and day soaks in, and at most {most_days} days are advised"
        " at once (our judgement). Dry matter by the bed's mass at set-up and the journal since. Source:"
        " mass balance."
    )
    values: dict[str, float | str] = {
        "portions": float(days),
        "every_days": 1.0,
        "target_pct": target_pct,
    }
    if guess:
        values["moisture_by"] = "guess"
    if reached_pct is not None:
        values["reaches_pct"] = float(round(reached_pct))
    if leaky:
        values |= {"loss_ml_d": loss_ml_d, "soaks_ml_d": a_day_ml}
    return (Advice("add-water", amount_ml=dose_ml, working=working, values=values),)


def _days(lacks_ml: float, a_day_ml: float, loss_ml_d: float, most_days: int) -> int | None:
    """Return on how many days the water is given; None where they are more than are advised at once."""
    if lacks_ml <= a_day_ml:
        return 1
    stays_ml_d = a_day_ml - loss_ml_d
    return math.ceil(lacks_ml / stays_ml_d) if stays_ml_d * most_days >= lacks_ml else None


def _with(bed: Bed, more_ml: float) -> float:
    """Return the moisture of the bed with its food's water and so much more, % wet basis."""
    water_kg = max(0.0, bed.water_kg + bed.locked_kg + more_ml / 1000.0)
    return 100.0 * water_kg / (water_kg + bed.dry_kg)


def loss_ml_d(bed: Bed, slope_pct_d: float | None) -> float:
    """Return the water a bed loses a day, mL, from the fall of its moisture in % points a day.

    Source: W = D M/(1 − M), so dW/dt = D/(1 − M)² dM/dt.

    >>> print(round(loss_ml_d(Bed(5.5, 75.0, 0.0), -0.3)))
    264
    """
    if slope_pct_d is None or slope_pct_d >= 0.0:
        return 0.0
    return -1000.0 * bed.dry_kg * slope_pct_d / 100.0 / (1.0 - bed.moisture_pct / 100.0) ** 2
