"""The note to look now: a big feed is a week old, and nobody has written down what is left. Pure.

What is collected, and that each note is posted once, is in `notify.rounds`. Each written feed counts by
itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, time, timedelta, tzinfo
from typing import Final

from underlid.alerts.alert import Message, Occasion
from underlid.binmodel.bins import Bin, Setup
from underlid.binmodel.facts import zone_named
from underlid.binmodel.taught.appetite import EATEN_G_KG_D
from underlid.journal.entries import Entry, Feed, Harvest, Photo, Sighting, Turned
from underlid.journal.summary import portions_line
from underlid.journal.units import SI, Units
from underlid.rules.finding import Priority
from underlid.timeline import DAY_MS, SECOND_MS

BIG_DAYS: Final = 7.0
"""A feed is big that the herd, by its mass, eats in no less at its best: more is never advised at once, and
whoever feeds once a week is not asked every week (our judgement)."""

HOUR: Final = 8
"""In the morning: most are up, and the day to look in lies ahead (our judgement)."""

LATE_MOST_MS: Final = 3 * DAY_MS
"""If the service was down longer than this, there is a newer feed to look at (our judgement)."""

LOOKS: Final = (Sighting, Turned, Harvest, Photo)
"""Who did one of these had the bed before their eyes. A further feed does not say that one looked."""


def is_big(entry: Entry, bin_: Bin | None) -> bool:
    """Tell whether an entry is a feed that is big for the bin's herd; none is without a herd.

    >>> from underlid.journal.entries import Portion
    >>> feed = Entry("f", "tansy", 0, 0, Feed((Portion("melon", 3200.0),)))
    >>> is_big(feed, Bin("tansy", "potting")), is_big(feed, Bin("tansy", "potting", herd_kg=2.0))
    (True, False)
    """
    if bin_ is None or entry.withdrawn or not isinstance(entry.what, Feed):
        return False
    return entry.what.mass_g >= BIG_DAYS * EATEN_G_KG_D * bin_.herd_kg > 0.0


def fed_between_ms(now_ms: int, days: int) -> tuple[int, int]:
    """Return the span in which a feed was written for that a note may be due now, whatever the zone."""
    return now_ms - LATE_MOST_MS - (days + 1) * DAY_MS, now_ms - (days - 1) * DAY_MS


def look_notes(
    setup: Setup, entries: Sequence[Entry], now_ms: int, days: int, units: Units = SI
) -> list[Message]:
    """Return the notes that are due: on big feeds of *days* ago that nobody has looked at since.

    The same feed gives a message of the same key, so that it is told once.
    """
    found = []
    for entry in entries:
        bin_ = setup.bins.get(entry.bin)
        if bin_ is None or not is_big(entry, bin_):
            continue
        zone = zone_named(setup.sheds[bin_.shed].timezone)
        at_ms = _moment_ms(entry.at_ms, days, zone)
        if at_ms <= now_ms < at_ms + LATE_MOST_MS and not _was_looked_at(entry, entries, days):
            found.append(_note(entry, bin_, at_ms, _days_ago(entry.at_ms, now_ms, zone), units))
    return found


def _moment_ms(fed_ms: int, days: int, zone: tzinfo) -> int:
    """Return the morning of the day, by the wall clock, that is *days* after that of the feed."""
    day = _local(fed_ms, zone).date() + timedelta(days)
    return round(datetime.combine(day, time(HOUR), zone).timestamp() * SECOND_MS)


def _was_looked_at(feed: Entry, entries: Iterable[Entry], days: int) -> bool:
    """Tell whether somebody looked when half of the days had gone, or saw before that it is used up."""
    half_ms = feed.at_ms + days * DAY_MS // 2
    return any(
        one.at_ms >= half_ms or (isinstance(one.what, Sighting) and one.what.used_up)
        for one in entries
        if one.bin == feed.bin
        and one.at_ms > feed.at_ms
        and isinstance(one.what, LOOKS)
        and not one.withdrawn
    )


def _note(entry: Entry, bin_: Bin, at_ms: int, ago: str, units: Units) -> Message:
    name = bin_.name or bin_.id.capitalize()
    foods = portions_line(entry.what.portions, units) if isinstance(entry.what, Feed) else ""
    return Message(
        key=f"{Occasion.LOOK_NOW.value}:{entry.id}",
        alert_id="",
        bin=bin_.id,
        shed=bin_.shed,
        at_ms=at_ms,
        priority=Priority.LOW,
        title=f"{name}: what is left?",
        text=f"{ago} {foods} went into {name}: lift the cover and see what is left. Written down, it"
        " teaches how much this herd eats.",
        event=Occasion.LOOK_NOW,
    )


def _days_ago(fed_ms: int, now_ms: int, zone: tzinfo) -> str:
    days = (_local(now_ms, zone).date() - _local(fed_ms, zone).date()).days
    return {1: "Yesterday", 7: "A week ago"}.get(days, f"{days} days ago")


def _local(at_ms: int, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(at_ms / SECOND_MS, zone)
