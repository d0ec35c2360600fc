"""The daily digest: what is open, what came and went, what is due, in one message. Pure.

What is collected from where is in `notify.rounds`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo
from typing import Final

from underlid.alerts.alert import Alert, AlertState, TransitionKind
from underlid.alerts.life import is_shelved
from underlid.alerts.telling import title
from underlid.alerts.when import day_words, hour_words
from underlid.binmodel.bins import Bin
from underlid.journal.entries import Entry, Feed, Sighting
from underlid.journal.summary import portions_line
from underlid.journal.units import SI, Units
from underlid.timeline import DAY_MS, SECOND_MS

FEED_AHEAD_MS: Final = DAY_MS
"""A feed that is due before the next digest is told of in this one."""

AHEAD_MOST_MS: Final = 2 * DAY_MS
"""A digest noted so long after the last moment was noted by a clock that was wrong."""

LOOK_AFTER_MS: Final = 7 * DAY_MS
LOOK_UNTIL_MS: Final = 14 * DAY_MS
"""A feed that nobody has looked at for a week is worth a look, and after two no longer (our judgement)."""

SAMPLE_FROM_SD_PCT: Final = 5.0
"""Moisture known worse than this, in points, is worth a weighed sample (our judgement)."""

BINS_MOST: Final = 40
"""Lines of one kind; a longer message is not read, and the page has them all."""


@dataclass(frozen=True, slots=True)
class BinDay:
    """What is known of one bin at the hour of the digest."""

    bin: Bin
    alerts: tuple[Alert, ...] = ()
    """Those that are open, and those that returned within the last day."""

    feed_due_ms: int | None = None
    feed_text: str = ""
    last_feed: Entry | None = None
    last_look_ms: int | None = None
    moisture_sd_pct: float | None = None


def last_moment_ms(hour: int, now_ms: int, zone: tzinfo) -> int:
    """Return when a wall clock last showed *hour*: once a day, also where clocks are changed.

    >>> from underlid.binmodel.facts import zone_named
    >>> last_moment_ms(7, 1_790_000_000_000, zone_named("Europe/London"))
    1789970400000
    """
    today = datetime.fromtimestamp(now_ms / SECOND_MS, zone).date()
    for day in (today, today - timedelta(days=1)):
        at_ms = round(datetime.combine(day, time(hour), zone).timestamp() * SECOND_MS)
        if at_ms <= now_ms:
            return at_ms
    return at_ms


def was_had(digested_at_ms: int, moment_ms: int) -> bool:
    """Tell whether the digest of a moment was had, or missed, by what was noted last.

    >>> was_had(7, 7), was_had(6, 7), was_had(7 + 3 * DAY_MS, 7)
    (True, False, False)
    """
    return moment_ms <= digested_at_ms <= moment_ms + AHEAD_MOST_MS


def digest(
    days: Sequence[BinDay], now_ms: int, zone: tzinfo, units: Units = SI
) -> tuple[str, str] | None:
    """Return title and text of the digest; None when there is nothing to say.

    A weighed sample that is due is said beside other things, and is no reason for a digest alone.
    """
    open_ = [_open_line(day, one, now_ms) for day in days for one in _open(day, now_ms)]
    gone = [_gone_line(day, one, zone) for day in days for one in _gone(day)]
    due = [line for day in days for line in _due_lines(day, now_ms, zone, units)]
    samples = [_sample_line(day) for day in days if _wants_sample(day)]
    if not open_ and not gone and not due:
        return None
    parts = (("Open", open_), ("Came and went", gone), ("Due", due + samples))
    said = "\n\n".join(_part(head, lines) for head, lines in parts if lines)
    counts = (f"{len(open_)} open", f"{len(gone)} over", f"{len(due)} due")
    told = [one for one, lines in zip(counts, (open_, gone, due), strict=True) if lines]
    return f"Underlid today: {', '.join(told)}", said


def nothing(bins: int) -> tuple[str, str]:
    """Return title and text of a digest with nothing to say."""
    many = "1 bin is" if bins == 1 else f"{bins} bins are"
    return "Underlid today: nothing", f"Nothing is open, came and went or is due: {many} watched."


def _part(head: str, lines: Iterable[str]) -> str:
    lines = list(lines)
    shown = [f"- {line}" for line in lines[:BINS_MOST]]
    if len(lines) > BINS_MOST:
        shown.append(f"- and {len(lines) - BINS_MOST} more, on the page")
    return "\n".join((f"{head}:", *shown))


def _open(day: BinDay, now_ms: int) -> list[Alert]:
    return [
        one
        for one in day.alerts
        if one.state is not AlertState.RETURNED
        and one.raised_at_ms is not None
        and not is_shelved(one, now_ms)
    ]


def _gone(day: BinDay) -> list[Alert]:
    return [one for one in day.alerts if one.state is AlertState.RETURNED]


def _open_line(day: BinDay, alert: Alert, now_ms: int) -> str:
    """Return an open alert in a line: what was found, how long it holds, who has seen it."""
    first = alert.text.partition(". ")[0].rstrip(".")
    told = first or title(alert, day.bin, TransitionKind.ALERT_RAISED)
    new = alert.raised_at_ms is not None and now_ms - alert.raised_at_ms < DAY_MS
    marks = [alert.priority.value, "new" if new else "for more than a day"]
    if alert.acknowledged_at_ms is not None:
        marks.append(f"seen by {alert.acknowledged_by}")
    return f"{told} ({', '.join(marks)})"


def _gone_line(day: BinDay, alert: Alert, zone: tzinfo) -> str:
    about = title(alert, day.bin, TransitionKind.ALERT_RETURNED)
    if alert.returned_at_ms is None:
        return about
    return f"{about}, since {hour_words(alert.returned_at_ms, alert.returned_at_ms, zone)}"


def _due_lines(day: BinDay, now_ms: int, zone: tzinfo, units: Units) -> list[str]:
    """Return what is to be done for a bin until the next digest."""
    lines = []
    name = _name(day.bin)
    if day.feed_due_ms is not None and day.feed_due_ms < now_ms + FEED_AHEAD_MS:
        when = "now" if day.feed_due_ms <= now_ms else day_words(day.feed_due_ms, now_ms, zone)
        lines.append(f"{name}: its next feed is due {when}. {day.feed_text}".rstrip())
    feed = day.last_feed
    if feed is not None and isinstance(feed.what, Feed):
        looked = day.last_look_ms is not None and day.last_look_ms > feed.at_ms
        age_ms = now_ms - feed.at_ms
        if LOOK_AFTER_MS <= age_ms < LOOK_UNTIL_MS and not looked:
            foods = portions_line(feed.what.portions, units)
            days = age_ms // DAY_MS
            lines.append(
                f"{name}: {foods} went in {days} days ago and nobody has looked since. Lift the cover"
                " and write down what is left."
            )
    return lines


def _wants_sample(day: BinDay) -> bool:
    return day.moisture_sd_pct is not None and day.moisture_sd_pct > SAMPLE_FROM_SD_PCT


def _sample_line(day: BinDay) -> str:
    sd = day.moisture_sd_pct or 0.0
    return f"{_name(day.bin)}: its moisture is known to ± {sd:.0f} points only. Weigh a sample."


def _name(bin_: Bin) -> str:
    return bin_.name or bin_.id.capitalize()


def last_look_ms(entries: Iterable[Entry]) -> int | None:
    """Return when somebody last wrote down what they saw."""
    return max((one.at_ms for one in entries if isinstance(one.what, Sighting)), default=None)
