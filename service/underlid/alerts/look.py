"""The note to look now: a big feed is a week old, and nobody has written down what is left. Pure.

What is collected, and that each note is posted once, is in `notify.rounds`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo
from typing import Final

from underlid.alerts.alert import Message, Occasion
from underlid.binmodel.bins import Bin, Setup
from underlid.binmodel.facts import zone_named
from underlid.binmodel.taught.appetite import EATEN_G_KG_D
from underlid.journal.entries import Entry, Feed, Harvest, Photo, Portion, Sighting, Turned
from underlid.journal.summary import portions_line
from underlid.journal.units import SI, UNITS, Units
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


TOGETHER_MS: Final = DAY_MS
"""What goes into a bin within a day of a feed is one feed with it: it is eaten, and looked at, as one."""


@dataclass(frozen=True, slots=True)
class Fed:
    """Feeds of one bin within a day, oldest first."""

    bin: Bin
    entries: tuple[Entry, ...]

    @property
    def feeds(self) -> list[Feed]:
        """Return what went in."""
        return [one.what for one in self.entries if isinstance(one.what, Feed)]

    @property
    def is_big(self) -> bool:
        """Tell whether they are big for the bin's herd; none are without a herd."""
        herd_g = BIG_DAYS * EATEN_G_KG_D * self.bin.herd_kg
        return sum(one.mass_g for one in self.feeds) >= herd_g > 0.0

    @property
    def mark(self) -> str:
        """Return the id of the largest one: a small one that comes or goes later changes nothing."""
        largest = max(zip(self.feeds, self.entries, strict=True), key=lambda one: one[0].mass_g)
        return largest[1].id


def big_feeds(setup: Setup, entries: Iterable[Entry]) -> list[Fed]:
    """Return the feeds that are big for their bins, what went in within a day together.

    >>> from underlid.journal.entries import Portion
    >>> bins = {"tansy": Bin("tansy", "potting", herd_kg=1.0)}
    >>> melon = Feed((Portion("melon", 900.0),))
    >>> fed = [Entry(str(hour), "tansy", hour * 3_600_000, 0, melon) for hour in (0, 9, 80)]
    >>> [[one.id for one in fed.entries] for fed in big_feeds(Setup({}, bins, {}), fed)]
    [['0', '9']]
    """
    runs: dict[str, list[list[Entry]]] = {}
    for one in sorted(entries, key=lambda one: (one.at_ms, one.id)):
        if one.bin not in setup.bins or one.withdrawn or not isinstance(one.what, Feed):
            continue
        of_bin = runs.setdefault(one.bin, [])
        if of_bin and one.at_ms - of_bin[-1][0].at_ms < TOGETHER_MS:
            of_bin[-1].append(one)
        else:
            of_bin.append([one])
    found = [Fed(setup.bins[name], tuple(run)) for name, of_bin in runs.items() for run in of_bin]
    return [fed for fed in found if fed.is_big]


def fed_between_ms(now_ms: int, days: int) -> tuple[int, int]:
    """Return the span in which a feed was written for that a note may be due now, whatever the zone.

    It begins a day early, so that a feed is not taken for the first of those within a day.
    """
    from_ms = now_ms - LATE_MOST_MS - (days + 1) * DAY_MS - TOGETHER_MS
    return from_ms, now_ms - (days - 1) * DAY_MS + TOGETHER_MS


def look_notes(
    setup: Setup, entries: Sequence[Entry], now_ms: int, days: int, units: Units = SI
) -> list[Message]:
    """Return the notes that are due: on big feeds of *days* ago that nobody has looked at since.

    The same feed gives a message of the same key, so that it is told once.
    """
    found = []
    for fed in big_feeds(setup, entries):
        zone = zone_named(setup.sheds[fed.bin.shed].timezone)
        fed_ms = fed.entries[0].at_ms
        at_ms = _moment_ms(fed_ms, days, zone)
        if at_ms <= now_ms < at_ms + LATE_MOST_MS and not _was_looked_at(fed, entries, days):
            found.append(_note(fed, at_ms, _days_ago(fed_ms, now_ms, zone), units))
    return found


def _moment_ms(fed_ms: int, days: int, zone: tzinfo) -> int:
    """Return the morning of the day, by the wall clock, that is *days* after that of the feed."""
    day = _local(fed_ms, zone).date() + timedelta(days)
    return round(datetime.combine(day, time(HOUR), zone).timestamp() * SECOND_MS)


def _was_looked_at(fed: Fed, entries: Iterable[Entry], days: int) -> bool:
    """Tell whether somebody looked when half of the days had gone, or saw before that it is used up."""
    half_ms = fed.entries[0].at_ms + days * DAY_MS // 2
    return any(
        one.at_ms >= half_ms or (isinstance(one.what, Sighting) and one.what.used_up)
        for one in entries
        if one.bin == fed.bin.id
        and one.at_ms > fed.entries[-1].at_ms
        and isinstance(one.what, LOOKS)
        and not one.withdrawn
    )


def _note(fed: Fed, at_ms: int, ago: str, units: Units) -> Message:
    bin_ = fed.bin
    name = bin_.name or bin_.id.capitalize()
    return Message(
        key=f"{Occasion.LOOK_NOW.value}:{fed.mark}",
        alert_id="",
        bin=bin_.id,
        shed=bin_.shed,
        at_ms=at_ms,
        priority=Priority.LOW,
        title=f"{name}: what is left?",
        text=_text(fed, ago, units),
        event=Occasion.LOOK_NOW,
        texts={word: _text(fed, ago, one) for word, one in UNITS.items()},
    )


def _text(fed: Fed, ago: str, units: Units) -> str:
    masses_g: dict[str, float] = {}
    for portion in (portion for one in fed.feeds for portion in one.portions):
        masses_g[portion.ingredient] = masses_g.get(portion.ingredient, 0.0) + portion.mass_g
    foods = portions_line(tuple(Portion(*one) for one in masses_g.items()), units)
    return (
        f"{ago} {foods} went into {fed.bin.name or fed.bin.id.capitalize()}: lift the cover and see what"
        " is left. Written down, it teaches how much this herd eats."
    )


def _days_ago(fed_ms: int, now_ms: int, zone: tzinfo) -> str:
    days = (_local(now_ms, zone).date() - _local(fed_ms, zone).date()).days
    return {1: "Yesterday", 7: "A week ago"}.get(days, f"{days} days ago")


def _local(at_ms: int, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(at_ms / SECOND_MS, zone)
