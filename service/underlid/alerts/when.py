"""Times in words, in the zone of the shed: an hour when it is near, a weekday, or a date."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo
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
    """Return a day: its weekday when it is within a week, and its date.

    >>> day_words(1_790_000_000_000, 1_790_000_000_000 - 9 * DAY_MS)
    '21 September'
    """
    at = _local(at_ms, zone)
    date = f"{at.day} {MONTHS[at.month - 1]}"
    return f"{WEEKDAYS[at.weekday()]}, {date}" if at_ms - now_ms < WEEK_MS else date


def _local(at_ms: int, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(at_ms // SECOND_MS, zone)
