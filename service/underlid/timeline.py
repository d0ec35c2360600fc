"""Time as whole milliseconds since 1970-01-01 UTC: the constants and the two conversions.

Pure arithmetic, usable everywhere; nothing here asks what time it is (that is `clock.py`).
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import lru_cache

SECOND_MS = 1000
MINUTE_MS = 60 * SECOND_MS
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS


@lru_cache(maxsize=1024)
def rfc3339(at_ms: int) -> str:
    """Return *at_ms* as RFC 3339 UTC, to the second unless milliseconds matter.

    >>> rfc3339(1_700_000_000_000)
    '2023-11-14T22:13:20Z'
    >>> rfc3339(1_700_000_000_250)
    '2023-11-14T22:13:20.250Z'
    """
    at = datetime.fromtimestamp(at_ms // SECOND_MS, UTC)
    milliseconds = at_ms % SECOND_MS
    return at.strftime("%Y-%m-%dT%H:%M:%S") + (f".{milliseconds:03d}Z" if milliseconds else "Z")


def parse_time_ms(text: str) -> int:
    """Return the milliseconds that *text* names: RFC 3339 with an offset, or epoch seconds.

    Raises ValueError for anything else, a time without an offset included.

    >>> parse_time_ms("2023-11-14T22:13:20Z"), parse_time_ms("1700000000.25")
    (1700000000000, 1700000000250)
    """
    try:
        return round(float(text) * SECOND_MS)
    except (ValueError, OverflowError):
        pass
    at = datetime.fromisoformat(text)
    if at.tzinfo is None:
        message = f"the time {text[:40]!r} has no offset; write it like 2023-11-14T22:13:20Z"
        raise ValueError(message)
    return round(at.timestamp() * SECOND_MS)
