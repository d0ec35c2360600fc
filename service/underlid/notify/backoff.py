"""When a message that a channel did not take is tried again, and when it is given up. Pure."""

from __future__ import annotations

import hashlib
from email.utils import parsedate_to_datetime
from typing import Final

from underlid.timeline import HOUR_MS, SECOND_MS

FIRST_WAIT_MS: Final = 10 * SECOND_MS
GROWTH: Final = 4
LONGEST_WAIT_MS: Final = 6 * HOUR_MS
TRIES_MOST: Final = 12
"""10 s, 40 s, 3, 11 and 43 min, 3 h, then every 6 h: about 34 hours, so that a channel that is down
over night and found in the morning loses nothing. Our judgement."""

JITTER: Final = 0.2
"""Waits differ by up to this share, so that messages that failed together do not return together."""


def next_try_ms(delivery_id: int, tries: int, now_ms: int) -> int | None:
    """Return when to try again after the *tries*-th failure, or None to give up.

    The same delivery and number of tries give the same wait.

    >>> next_try_ms(7, 1, 0), next_try_ms(7, 12, 0)
    (11369, None)
    """
    if tries >= TRIES_MOST:
        return None
    wait_ms: int = min(FIRST_WAIT_MS * GROWTH ** (tries - 1), LONGEST_WAIT_MS)
    digest = hashlib.sha256(f"{delivery_id}:{tries}".encode()).digest()
    share = int.from_bytes(digest[:4], "big") / 0xFFFF_FFFF * 2 - 1
    return now_ms + round(wait_ms * (1 + JITTER * share))


def asked_wait_ms(retry_after: str, now_ms: int) -> int:
    """Return how long an answer's Retry-After (RFC 9110) asks to wait, as long as is waited at all.

    >>> asked_wait_ms("120", 0), asked_wait_ms("Thu, 01 Jan 1970 00:01:00 GMT", 0), asked_wait_ms("", 0)
    (120000, 60000, 0)
    """
    try:
        if retry_after.strip().isdecimal():
            wait_ms = int(retry_after[:12]) * SECOND_MS
        else:
            wait_ms = round(parsedate_to_datetime(retry_after).timestamp() * SECOND_MS) - now_ms
    except (ValueError, OverflowError):
        return 0
    return min(max(0, wait_ms), LONGEST_WAIT_MS)
