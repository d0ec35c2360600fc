"""What is true of a case, condition by condition: how far beyond its limit, moment by moment.

The definitions are on the scoring page; they were fixed before any result was looked at. `events.py`
makes events of these courses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from underlid.alerts.policy import DELAYS
from underlid.binmodel.bins import Bin
from underlid.binmodel.herd import limits_of
from underlid.journal.entries import Entry, Feed
from underlid.journal.feedstocks import FEEDSTOCKS
from underlid.rules.finding import Condition
from underlid.science.moisture import SOUR_BELOW
from underlid.science.numeric import Floats
from underlid.simulate.place import Truth
from underlid.timeline import DAY_MS, HOUR_MS

Moments = np.ndarray[tuple[int], np.dtype[np.int64]]
Flags = np.ndarray[tuple[int], np.dtype[np.bool_]]

GREY_K: Final = 0.7
GREY_PCT: Final = 2.0
GREY_FILM_G_M2: Final = 30.0
GREY_AIR: Final = 0.06
"""Half widths of the grey zones: what sensors as good as these cannot tell (our judgement)."""

HUNGRY_SHARE: Final = 0.10
HUNGRY_NEAR: Final = 0.20
HUNGRY_FAR: Final = 0.05

WET_FEED_PCT: Final = 80.0
WET_FEED_G: Final = 500.0
WET_FEED_MATTERS_MS: Final = 7 * DAY_MS

MOISTURE: Final = frozenset(
    {Condition.DRYING_OUT, Condition.TOO_WET, Condition.HUNGRY, Condition.SOUR}
)
SLACK_MS: Final = 2 * HOUR_MS
MOISTURE_SLACK_MS: Final = 12 * HOUR_MS


@dataclass(frozen=True, slots=True)
class Watched:
    """One condition over a case: `beyond` ≥ 0 is beyond the limit, NaN where it cannot be."""

    condition: Condition
    beyond: Floats
    near: float
    """The grey zone reaches so far before the limit …"""
    far: float
    """… and so far beyond it."""
    alarm_beyond: float | None = None
    """Where the alarm limit lies, beyond the warning limit."""
    asked: Flags | None = None
    """When an event must be found; None for always."""

    @property
    def on_ms(self) -> int:
        """Return the on-delay of the condition's alert."""
        return DELAYS[self.condition].on_ms

    @property
    def off_ms(self) -> int:
        """Return its off-delay."""
        return DELAYS[self.condition].off_ms

    @property
    def slack_ms(self) -> int:
        """Return how much later than the on-delay is still in time."""
        return MOISTURE_SLACK_MS if self.condition in MOISTURE else SLACK_MS


def times_of(truths: Sequence[Truth]) -> Moments:
    """Return the moments of *truths*, ms."""
    return np.array([one.at_ms for one in truths], dtype=np.int64)


def watch(bin_: Bin, truths: Sequence[Truth], entries: Sequence[Entry]) -> list[Watched]:
    """Return the course of every condition of one bin; *truths* in even steps."""
    limits = limits_of(bin_)
    at_ms = times_of(truths)

    def series(name: str) -> Floats:
        return np.array([one.values[name] for one in truths])

    bed, film = series("bed_temp_c"), series("lid_film_g_m2")
    moisture = day_mean(series("moisture_pct"), int(at_ms[1] - at_ms[0]))
    return [
        Watched(
            Condition.CONDENSATION,
            film - limits.film_warn_g_m2,
            GREY_FILM_G_M2,
            GREY_FILM_G_M2,
            limits.film_alarm_g_m2 - limits.film_warn_g_m2,
        ),
        Watched(
            Condition.OVERHEATING,
            bed - limits.hot_warn_c,
            GREY_K,
            GREY_K,
            limits.hot_alarm_c - limits.hot_warn_c,
        ),
        Watched(
            Condition.TOO_COLD,
            limits.cold_warn_c - bed,
            GREY_K,
            GREY_K,
            limits.cold_warn_c - limits.cold_alarm_c,
        ),
        Watched(Condition.DRYING_OUT, limits.moisture_low_warn_pct - moisture, GREY_PCT, GREY_PCT),
        Watched(Condition.TOO_WET, moisture - limits.moisture_high_warn_pct, GREY_PCT, GREY_PCT),
        Watched(
            Condition.HUNGRY,
            HUNGRY_SHARE - food_share(at_ms, series("food_kg"), entries),
            HUNGRY_NEAR - HUNGRY_SHARE,
            HUNGRY_SHARE - HUNGRY_FAR,
        ),
        Watched(
            Condition.SOUR,
            SOUR_BELOW - series("air_share"),
            GREY_AIR,
            GREY_AIR,
            asked=after_wet_feed(at_ms, entries),
        ),
    ]


def day_mean(values: Floats, every_ms: int) -> Floats:
    """Return the mean of the last 24 h at each moment, of what there is in the first day."""
    width = DAY_MS // every_ms
    sums = np.concatenate([[0.0], np.cumsum(values)])
    ends = np.arange(1, len(values) + 1)
    starts = np.maximum(0, ends - width)
    means: Floats = (sums[ends] - sums[starts]) / (ends - starts)
    return means


def food_share(at_ms: Moments, food_kg: Floats, entries: Sequence[Entry]) -> Floats:
    """Return the food as a share of what there was after the last feed; NaN before the first."""
    share = np.full(len(food_kg), np.nan)
    fed = [entry.at_ms for entry in entries if isinstance(entry.what, Feed)]
    for begin_ms, end_ms in zip(fed, [*fed[1:], int(at_ms[-1]) + 1], strict=True):
        within = np.flatnonzero((at_ms >= begin_ms) & (at_ms < end_ms))
        if len(within):
            most = food_kg[within].max()
            share[within] = food_kg[within] / most if most > 0.0 else np.nan
    return share


def after_wet_feed(at_ms: Moments, entries: Sequence[Entry]) -> Flags:
    """Tell for each moment whether a wet feed lies less than a week back."""
    after = np.zeros(len(at_ms), dtype=np.bool_)
    for entry in entries:
        if isinstance(entry.what, Feed) and is_wet(entry.what):
            after |= (at_ms >= entry.at_ms) & (at_ms < entry.at_ms + WET_FEED_MATTERS_MS)
    return after


def is_wet(feed: Feed) -> bool:
    """Tell whether a feed is big and juicy enough to turn a bed sour."""
    grams = sum(portion.mass_g for portion in feed.portions)
    water = sum(
        portion.mass_g * FEEDSTOCKS[portion.ingredient].moisture_pct for portion in feed.portions
    )
    return grams >= WET_FEED_G and water / grams >= WET_FEED_PCT
