"""The feed stories of one bin, from what is stored: for its page and for programs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from underlid.alerts.alert import Spell
from underlid.binmodel.bins import Setup
from underlid.binmodel.thermal import time_constant_h
from underlid.journal.entries import Entry
from underlid.lookback.feed_stories import (
    LEAD_H,
    STORY_MS,
    Columns,
    FeedStory,
    feed_story,
    stretches,
)
from underlid.science.numeric import Floats
from underlid.timeline import HOUR_MS
from underlid.web.context import Context
from underlid.web.series import curves_of


def stories_of(
    context: Context,
    setup: Setup,
    bin_id: str,
    entries: list[Entry],
    spells: Sequence[Spell],
    most: int,
) -> list[FeedStory]:
    """Return the stories of the newest feeds among *entries*, newest first."""
    now_ms = context.clock.now_ms()
    state: dict[str, Any] = context.judged.state(bin_id) or {}
    learnt = ((state.get("lessons") or {}).get("time_constant_h") or {}).get("value")
    tau_h = float(learnt or time_constant_h(setup.bins[bin_id]))
    return [
        feed_story(
            entry, until_ms, _columns(context, setup, bin_id, entry.at_ms), tau_h, spells, entries
        )
        for entry, until_ms in stretches(entries, now_ms, most)
    ]


def _columns(context: Context, setup: Setup, bin_id: str, fed_ms: int) -> Columns:
    """Return hourly means from a day before a feed on, as long as a story may be."""
    start_ms = fed_ms - LEAD_H * HOUR_MS
    hours = LEAD_H + STORY_MS // HOUR_MS
    curves = curves_of(context, setup, bin_id, start_ms, start_ms + hours * HOUR_MS, hours + 1)
    assert curves.step_ms == HOUR_MS

    def means(channel: str) -> Floats:
        band = curves.bands.get(channel)
        return band.mean if band is not None else np.full(len(curves.start_ms), np.nan)

    return Columns(means("bed_temp_c"), means("shed_temp_c"), means("moisture_pct"))
