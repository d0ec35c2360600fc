"""Which written feed a bed's warmth is put down to: the one that can still give most, if any can.

How the warmth comes and goes is in `outlook/feed_pulse.py`; how much there is, in `thermal.py`.
"""

from __future__ import annotations

from math import exp
from typing import Final

from underlid.binmodel.outlook.feed_pulse import W_KG_D, volatile_kg
from underlid.binmodel.thermal import SELF_HEAT_SD_K, loss_w_k_of
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import Entry, Feed
from underlid.science.heat import DECAY_PER_D, decay_rate_factor
from underlid.timeline import DAY_MS

FEED_HEATS_D: Final = 7
"""A feed's heat is over after a week (feed pools of the science page); then it is not the cause."""

FASTEST: Final = 2.0
"""A bin's own rate of decay may be twice the typical one (our judgement)."""

EXPLAINS: Final = 2.0
"""Warmth beyond so many times what the written feeds can give has another cause: somebody fed and wrote
nothing down (our judgement: masses, moistures and the loss of heat are each known to some 30 %)."""


def heating_feed(window: BinWindow, bed_c: float, own_k: float | None) -> tuple[Entry, Feed] | None:
    """Return the feed that warms the bed most; None when all written ones cannot make *own_k*.

    Parameters
    ----------
    bed_c
        How warm the bed is: food decays faster in a warm one.
    own_k
        The bed's own warmth; None where it is not known, then the feed is not asked for it.
    """
    rate_d = DECAY_PER_D * float(decay_rate_factor(bed_c))
    found = [
        (volatile_kg(entry.what) * exp(-rate_d * age_d), entry, entry.what)
        for entry in window.entries
        if isinstance(entry.what, Feed)
        and 0.0 <= (age_d := (window.now_ms - entry.at_ms) / DAY_MS) <= FEED_HEATS_D
    ]
    if not found:
        return None
    most_k = FASTEST * rate_d * W_KG_D * sum(kg for kg, _, _ in found) / loss_w_k_of(window)
    if own_k is not None and own_k - SELF_HEAT_SD_K > EXPLAINS * most_k:
        return None
    _, entry, feed = max(found, key=lambda one: (one[0], one[1].at_ms))
    return entry, feed
