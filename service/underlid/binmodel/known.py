"""What is carried of one bin beside its window, gathered for the rules: film, trend, outlook."""

from __future__ import annotations

from dataclasses import dataclass

from underlid.binmodel.food.uneaten import Food
from underlid.binmodel.lids.film import LidFilm
from underlid.binmodel.outlook.forecast import Forecast
from underlid.binmodel.water.bed import Bed
from underlid.binmodel.water.drying import Drying


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of one bin at one moment; None where the data does not say."""

    film: LidFilm
    drying: Drying | None
    forecast: Forecast | None
    food: Food | None = None
    bed: Bed | None = None
