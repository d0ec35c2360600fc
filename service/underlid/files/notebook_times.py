"""Times as a notebook has them: a day, or a day and the hour on the wall, where the bin stands."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Final

from underlid.binmodel.facts import zone_named

DAY: Final = re.compile(r"\d{4}-\d\d-\d\d")
WALL: Final = re.compile(r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?")

NOON: Final = " 12:00"
"""Of a day without an hour: nobody feeds at midnight, and noon is off by half a day at the most."""

Zones = Mapping[str, str]
"""Bin -> the time zone of its shed."""


def with_offset(given: str, bin_id: object, zones: Zones) -> str:
    """Return a time of a notebook with its offset; any other text, or of a bin unknown, as it is.

    >>> zones = {"tansy": "Europe/London"}
    >>> with_offset("2026-07-03", "tansy", zones), with_offset("2026-12-03 18:30", "tansy", zones)
    ('2026-07-03T12:00:00+01:00', '2026-12-03T18:30:00+00:00')
    >>> with_offset("2026-07-03", "gone", zones), with_offset("2026-07-03T18:30:00Z", "tansy", zones)
    ('2026-07-03', '2026-07-03T18:30:00Z')
    """
    zone = zones.get(str(bin_id))
    text = given.strip()
    if DAY.fullmatch(text):
        text += NOON
    if zone is None or not WALL.fullmatch(text):
        return given
    try:
        return datetime.fromisoformat(text).replace(tzinfo=zone_named(zone)).isoformat()
    except ValueError:
        return given
