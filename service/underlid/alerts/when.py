"""Times in words, in the zone of the shed: an hour when it is near, a weekday, or a date."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final

from underlid.timeline import DAY_MS, HOUR_MS, SECOND_MS

MONTHS: Final = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip

WEEKDAYS: Final = (
    "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday",
)  # fmt: skip

NEAR_MS: Final = 20 * HOUR_MS
WEEK_MS: Final = 6 * DAY_MS


def hour_words(at_ms: int, now_ms: int, zone: tzinfo = UTC) -> str:
    """Return a time to the hour, with its weekday unless it is near.

    >>> hour_words(1_790_000_000_000, 1_790_000_000_000 - 3 * HOUR_MS)
    '14:00'
    >>> hour_words(1_790_000_000_000, 1_790_000_000_000 - 30 * HOUR_MS)
    'Monday 14:00'
    """
    at = _local(at_ms + HOUR_MS // 2, zone)
    if at_ms - now_ms < NEAR_MS:
        return f"{at:%H}:00"
    return f"{WEEKDAYS[at.weekday()]} {at:%H}:00"


def day_words(at_ms: int, now_ms: int, zone: tzinfo = UTC) -> str:
    """Return "by" a day: today and tomorrow by name, its weekday within a week, and its date.

    The weekday stands beside "today" because a message may be read a day late.

    >>> day_words(1_790_000_000_000, 1_790_000_000_000 - 9 * DAY_MS)
    'by about 21 September'
    >>> day_words(1_790_000_000_000, 1_790_000_000_000 - 3 * HOUR_MS)
    'today, Monday'
    """
    at = _local(at_ms, zone)
    for days, word in ((0, "today"), (1, "tomorrow")):
        if at.date() == _local(now_ms, zone).date() + timedelta(days):
            return f"{word}, {WEEKDAYS[at.weekday()]}"
    date = f"{at.day} {MONTHS[at.month - 1]}"
    near = at_ms - now_ms < WEEK_MS
    return f"by about {WEEKDAYS[at.weekday()]}, {date}" if near else f"by about {date}"


def _local(at_ms: int, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(at_ms // SECOND_MS, zone)
