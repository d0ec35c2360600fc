"""Shed and bed over the next 72 hours, together: what the lid's outlook goes by, in two steps.

Each step is work enough for one judgement; when they are made is in `outlook/hourly.py`. What the lid's
outlook asks of past errors is taken here, so that the errors need not be held until then.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from underlid.binmodel.outlook.bed_outlook import bed_ahead
from underlid.binmodel.outlook.hours import Hours, hours_of
from underlid.binmodel.outlook.shed_outlook import Ahead, shed_ahead
from underlid.binmodel.outlook.shed_weather import better, weather_ahead
from underlid.binmodel.outlook.spread import spread_of
from underlid.binmodel.window import BinWindow
from underlid.science.numeric import Floats

OVER_SD_SHARE: Final = 0.5
"""Before errors of past forecasts are known: bed and shed go wrong alike, so their difference goes wrong by
half of both (our judgement)."""

FORGOTTEN: Final[Floats] = np.zeros((0, 0))


@dataclass(frozen=True, slots=True)
class Room:
    """What is foreseen of the shed at `at_ms`, and the hours it rests on."""

    at_ms: int
    hours: Hours
    shed: Ahead | None


@dataclass(frozen=True, slots=True)
class Warmth:
    """What is foreseen of shed and bed at `at_ms`; where both are known their errors are forgotten."""

    at_ms: int
    hours: Hours
    shed: Ahead | None
    bed: Ahead | None
    over_sd_k: Floats | None
    """Of the bed over the shed, where both are known."""


def room_ahead(window: BinWindow) -> Room:
    """Return what is foreseen of the shed at `window.now_ms`."""
    hours = hours_of(window)
    shed = shed_ahead(hours.shed_c)
    if shed is not None and window.weather is not None:
        shed = better(shed, weather_ahead(window, hours.shed_c))
    return Room(window.now_ms, hours, shed)


def warmth_ahead(window: BinWindow, room: Room | None = None) -> Warmth:
    """Return what is foreseen of shed and bed at `window.now_ms`; *room* as of then."""
    room = room or room_ahead(window)
    shed, bed, sd = room.shed, bed_ahead(window, room.hours, room.shed), None
    if shed is not None and bed is not None:
        sd = over_sd_k(shed, bed)
        shed, bed = replace(shed, errors=FORGOTTEN), replace(bed, errors=FORGOTTEN)
    return Warmth(room.at_ms, room.hours, shed, bed, sd)


def over_sd_k(shed: Ahead, bed: Ahead) -> Floats:
    """Return the sd of what the bed is foreseen to be over the shed, from the errors of both."""
    return spread_of(bed.errors - shed.errors, OVER_SD_SHARE * np.hypot(bed.sd, shed.sd))
