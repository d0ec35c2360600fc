"""Feed stories: what a bin did after each feed, hour by hour, so that feeds can be laid over each other.

A story runs from a feed to the next one, ten days at most. The bed's own warmth is worked out from
hourly means of bed and shed air, in the same way for a feed of yesterday and one of last year.
Columns come in; where they come from is the caller's business. How stories are drawn: `web/overlay.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.alerts.alert import Spell
from underlid.binmodel.taught.appetite import hourly_self_heat_k
from underlid.journal.entries import Climbers, Entry, Feed, Sighting
from underlid.journal.feedstocks import FEEDSTOCKS
from underlid.rules.finding import Condition
from underlid.science.numeric import Floats
from underlid.timeline import DAY_MS, HOUR_MS

STORY_MS: Final = 10 * DAY_MS
LEAD_H: Final = 24
"""Hours before the feed that columns begin with: what a change is counted from."""

LEAST_H: Final = 6
"""A day's mean needs so many known hours (our judgement)."""

MOISTURE_MEAN_H: Final = 6
"""Moisture is smoothed over so many hours; a probe's reading follows the day's warmth."""

_CLIMBERS: Final = tuple(Climbers)


@dataclass(frozen=True, slots=True)
class Columns:
    """Hourly means from `LEAD_H` hours before a feed, NaN where nothing is known."""

    bed_temp_c: Floats
    shed_temp_c: Floats
    moisture_pct: Floats


@dataclass(frozen=True, slots=True)
class FeedStory:
    """One feed and what followed; the columns begin with the hour of the feed."""

    entry: Entry
    feed: Feed
    until_ms: int
    warmth_k: Floats
    moisture_change_pct: Floats
    """Points against the day before the feed."""

    wet_lid_h: float
    lid_water_g_m2: float | None
    """What condensed in spells that have ended; None while none is known."""

    climbers: Climbers | None
    """The most that were seen."""

    @property
    def peak(self) -> tuple[float, int] | None:
        """Return the greatest own warmth, K, and hours from the feed to it."""
        if np.isnan(self.warmth_k).all():
            return None
        hour = int(np.nanargmax(self.warmth_k))
        return float(self.warmth_k[hour]), hour

    @property
    def moisture_end_pct(self) -> float | None:
        """Return the change of moisture at the end of what is known, in points."""
        known = self.moisture_change_pct[~np.isnan(self.moisture_change_pct)]
        return float(known[-1]) if len(known) else None

    @property
    def water_g(self) -> float:
        """Return the water that went in with the food, by typical values."""
        held = sum(
            portion.mass_g * FEEDSTOCKS[portion.ingredient].moisture_pct / 100
            for portion in self.feed.portions
        )
        return max(0.0, held - self.feed.drained_g)

    @property
    def bedding_g(self) -> float:
        """Return the bedding that went on top."""
        return sum(portion.mass_g for portion in self.feed.bedding)


def stretches(entries: Iterable[Entry], now_ms: int, most: int) -> list[tuple[Entry, int]]:
    """Return the newest feeds, newest first, each with the end of its story."""
    feeds = sorted(
        (one for one in entries if isinstance(one.what, Feed) and not one.withdrawn),
        key=lambda one: (one.at_ms, one.id),
    )
    ends = [*(one.at_ms for one in feeds[1:]), now_ms][: len(feeds)]
    told = [
        (one, min(end, one.at_ms + STORY_MS))
        for one, end in zip(feeds, ends, strict=True)
        if end > one.at_ms
    ]
    return told[::-1][:most]


def feed_story(
    entry: Entry,
    until_ms: int,
    columns: Columns,
    time_constant_h: float,
    spells: Sequence[Spell],
    sightings: Iterable[Entry],
) -> FeedStory:
    """Return the story of the feed *entry*; *spells* and *sightings* may reach beyond it."""
    assert isinstance(entry.what, Feed)
    hours = min(len(columns.bed_temp_c), LEAD_H + -(-(until_ms - entry.at_ms) // HOUR_MS))
    warmth_k = hourly_self_heat_k(
        columns.bed_temp_c[:hours], columns.shed_temp_c[:hours], time_constant_h
    )
    wet = [
        one
        for one in spells
        if one.condition is Condition.CONDENSATION and entry.at_ms <= one.began_ms < until_ms
    ]
    waters = [one.water_g_m2 for one in wet if one.water_g_m2 is not None]
    return FeedStory(
        entry=entry,
        feed=entry.what,
        until_ms=until_ms,
        warmth_k=warmth_k[LEAD_H:],
        moisture_change_pct=_change(columns.moisture_pct[:hours]),
        wet_lid_h=sum(((one.ended_ms or until_ms) - one.began_ms) / HOUR_MS for one in wet),
        lid_water_g_m2=sum(waters) if waters or not wet else None,
        climbers=_most_climbers(sightings, entry.at_ms, until_ms),
    )


def _change(moisture_pct: Floats) -> Floats:
    """Return the change from the day before the feed, smoothed; all NaN without that day."""
    before = moisture_pct[:LEAD_H]
    after = moisture_pct[LEAD_H:]
    if np.count_nonzero(~np.isnan(before)) < LEAST_H:
        return np.full(len(after), np.nan)
    level = float(np.nanmean(before))
    changes = np.full(len(after), np.nan)
    for hour in range(len(after)):
        held = after[max(0, hour - MOISTURE_MEAN_H + 1) : hour + 1]
        known = held[~np.isnan(held)]
        if len(known) and not np.isnan(after[hour]):
            changes[hour] = float(known.mean()) - level
    return changes


def _most_climbers(sightings: Iterable[Entry], from_ms: int, until_ms: int) -> Climbers | None:
    seen = [
        one.what.climbers
        for one in sightings
        if isinstance(one.what, Sighting)
        and one.what.climbers is not None
        and from_ms <= one.at_ms < until_ms
    ]
    return max(seen, key=_CLIMBERS.index, default=None)
