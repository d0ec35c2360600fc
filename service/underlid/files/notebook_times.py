"""Times as a notebook has them: a day, or a day and the hour on the wall, where the bin stands."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Final

from underlid.binmodel.facts import zone_named
from underlid.errors import UnderlidError

DAY: Final = re.compile(r"\d{4}-\d\d-\d\d")
WALL: Final = re.compile(r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?")

NOON: Final = " 12:00"
"""Of a day without an hour: nobody feeds at midnight, and noon is off by half a day at the most."""

Zones = Mapping[str, str]
"""Bin -> the time zone of its shed."""


def with_offset(given: str, bin_id: object, zones: Zones) -> str:
    """Return a time of a notebook with its offset, any other text as it is; of an unknown bin refuse it.

    Where clocks go back, an hour that comes twice is the first one; where they go forward, one that is left
    out is the one after it.

    >>> zones = {"tansy": "Europe/London"}
    >>> with_offset("2026-07-03", "tansy", zones), with_offset("2026-12-03 18:30", "tansy", zones)
    ('2026-07-03T12:00:00+01:00', '2026-12-03T18:30:00+00:00')
    >>> with_offset("2026-10-25 01:30", "tansy", zones), with_offset("2026-03-29 01:30", "tansy", zones)
    ('2026-10-25T01:30:00+01:00', '2026-03-29T01:30:00+00:00')
    >>> with_offset("2026-07-03T18:30:00Z", "gone", zones)
    '2026-07-03T18:30:00Z'
    """
    text = given.strip()
    if DAY.fullmatch(text):
        text += NOON
    if not WALL.fullmatch(text):
        return given
    zone = zones.get(str(bin_id))
    if zone is None:
        raise UnderlidError(
            "bin",
            value=bin_id,
            expected="a bin that is set up, by whose clock the time is",
            next_step="Set it up first, correct its id, or give the time with its offset.",
        )
    try:
        return datetime.fromisoformat(text).replace(tzinfo=zone_named(zone)).isoformat()
    except ValueError:
        return given
