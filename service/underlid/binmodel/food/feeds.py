"""Which feed a wet lid is put down to, and what has been put over a feed since.

Feedstock values are typical ones, so a feed is chosen by order of size, not by exact water.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from underlid.binmodel.window import FEED_MATTERS_MS, BinWindow
from underlid.journal.entries import BeddingAdded, Entry, Feed
from underlid.journal.feedstocks import moisture_pct_of
from underlid.timeline import DAY_MS

WET_LEAST_G: Final = 100.0
"""Water beyond the target moisture below which a feed wets no lid (our judgement)."""

HALVES_IN_MS: Final = 2 * DAY_MS
"""A feed's claim on the lid's water halves in so long (feed pools decay by about 0.35 a day)."""


def wet_feed(window: BinWindow) -> Entry | None:
    """Return the feed that explains most of the water now: much of it, and not long ago."""
    best: tuple[float, Entry] | None = None
    for entry in window.entries:
        age_ms = window.now_ms - entry.at_ms
        if not isinstance(entry.what, Feed) or age_ms > FEED_MATTERS_MS:
            continue
        water_g = water_over_g(entry.what, window.bin.target_moisture_pct)
        claim = water_g * 0.5 ** (age_ms / HALVES_IN_MS)
        if water_g >= WET_LEAST_G and (best is None or claim >= best[0]):
            best = claim, entry
    return best[1] if best else None


def water_over_g(feed: Feed, target_pct: float) -> float:
    """Return the water, g, that a feed and its bedding hold beyond *target_pct* (wet basis).

    >>> from underlid.journal.entries import Portion
    >>> round(water_over_g(Feed((Portion("melon", 1800.0),)), 75.0))
    306
    """
    over = 0.0
    for portion in (*feed.portions, *feed.bedding):
        over += portion.mass_g * (moisture_pct_of(portion.ingredient) - target_pct) / 100.0
    return over - feed.drained_g * (100.0 - target_pct) / 100.0


def feed_with_bedding(window: BinWindow, at_ms: int | None) -> tuple[Entry, Feed] | None:
    """Return the feed of *at_ms*, with all bedding that was put in since counted as its own."""
    for entry in window.entries:
        if entry.at_ms == at_ms and isinstance(entry.what, Feed):
            since = tuple(
                portion
                for later in window.entries
                if later.at_ms >= entry.at_ms and isinstance(later.what, BeddingAdded)
                for portion in later.what.portions
            )
            return entry, replace(entry.what, bedding=(*entry.what.bedding, *since))
    return None
