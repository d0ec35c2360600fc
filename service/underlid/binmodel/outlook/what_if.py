"""What would be foreseen of a bin had a feed just gone in: with exactly the code that foresees.

Nothing is carried on from it. The feed is put into the journal of a window of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from underlid.binmodel.food.uneaten import Food, food
from underlid.binmodel.lids.film import LidFilm
from underlid.binmodel.outlook.forecast import Forecast, foresee
from underlid.binmodel.water.bed import Bed, bed_of
from underlid.binmodel.water.drying import Drying
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry, Feed
from underlid.timeline import HOUR_MS

NOT_WRITTEN = "not-written"
"""The id of the entry that stands for the feed; no written one has it."""


@dataclass(frozen=True, slots=True)
class WhatIf:
    """One bin with a feed in it, or as it is; None where the data does not say."""

    at_ms: int
    forecast: Forecast
    food: Food | None
    bed: Bed | None
    """The bed before the feed; None where its moisture is not known."""


def what_if(
    window: BinWindow, film: LidFilm, drying: Drying | None, begins_ms: int, feed: Feed | None
) -> WhatIf:
    """Return what would be known had *feed* gone in at the bin's last whole hour; None for no feed.

    The bin's hours begin at *begins_ms*: that is when what is foreseen live is made.
    """
    at_ms = window.now_ms - (window.now_ms - begins_ms) % HOUR_MS
    then = replace(window, now_ms=at_ms)
    bed = None if drying is None else bed_of(then, drying.present_pct)
    if feed is not None:
        entry = Entry(NOT_WRITTEN, window.bin.id, at_ms, at_ms, feed)
        then = replace(then, entries=(*then.entries, entry))
    return WhatIf(at_ms, foresee(then, film, drying), food(then), bed)
