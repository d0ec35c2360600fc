"""Readings as line protocol, built directly: the client's point objects cost two to three times it.

Nothing is escaped, because nothing that would need it gets here: `unfit` finds what does not fit.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from math import isfinite
from typing import Final

import msgspec

from underlid.readings.channels import is_channel_name, is_id
from underlid.storage.influx.names import (
    HOURLY,
    LATE,
    PROBE,
    READING,
    RECEIVED,
    SENT,
    SOURCE,
    STALE,
    field_of,
)
from underlid.storage.rollups import Sums
from underlid.timeline import HOUR_MS

NS_A_MS: Final = 1_000_000

NAMES_CACHED: Final = 16_384
"""Names that are looked at once only; a farm with more probes pays a microsecond a row."""

EARLIEST_MS: Final = -(2**63) // NS_A_MS + HOUR_MS
LATEST_MS: Final = (2**63 - 1) // NS_A_MS - HOUR_MS
"""InfluxDB counts nanoseconds in 64 bits: from 1677 to 2262."""


class OutRow(msgspec.Struct, frozen=True, gc=False):
    """What one probe measured at one instant, on its way out."""

    probe: str
    shed: str
    taken_at_ms: int
    received_at_ms: int
    time_source: int
    values: Mapping[str, float]


def reading_line(row: OutRow, sent_at_ms: int | None = None) -> str:
    """Return the line of a row.

    >>> reading_line(OutRow("tansy-1", "potting", 5, 7, 0, {"bed_temp_c": 22.5}))
    'reading,probe=tansy-1 bed_temp_c=22.5,received_at_ms=7,time_source=0 5000000'
    """
    fields = "".join([f"{_begin(name)}{value!r}," for name, value in row.values.items()])
    sent = "" if sent_at_ms is None else f",{SENT}={sent_at_ms}"
    return (
        f"{READING},probe={row.probe} {fields}{RECEIVED}={row.received_at_ms},"
        f"{SOURCE}={row.time_source:d}{sent} {row.taken_at_ms}000000"
    )


def late_line(probe: str, arrived_at_ms: int, taken_at_ms: int) -> str:
    """Return the line by which followers find a late row: when it arrived, and the hour to look in.

    The hour stands in the nanoseconds below a millisecond, so that two hours of one moment are two
    points; its number has six digits until the year 2084.
    """
    hour = taken_at_ms // HOUR_MS % NS_A_MS
    return f"{LATE},probe={probe} n=1 {arrived_at_ms * NS_A_MS + hour}"


def stale_line(probe: str, by: str, hour: int, *, stale: bool) -> str:
    """Return the line that says whether worker *by* has yet to sum up hour number *hour*."""
    return f"{STALE},probe={probe},by={by} n={int(stale)} {hour * HOUR_MS}000000"


def probe_line(probe: str, shed: str, at_ms: int) -> str:
    """Return the line that says in which shed a probe spoke."""
    return f'{PROBE},probe={probe} shed="{shed}" {at_ms // HOUR_MS * HOUR_MS}000000'


def hourly_line(probe: str, hour_ms: int, sums: Mapping[str, Sums], at: int) -> str | None:
    """Return the line of an hour's sums, those at index *at*; None when there are none."""
    fields = []
    for channel, one in sums.items():
        if one.count[at]:
            fields.append(
                f"{channel}_low={float(one.low[at])!r},{channel}_sum={float(one.total[at])!r},"
                f"{channel}_high={float(one.high[at])!r},{channel}_count={int(one.count[at])}"
            )
    return f"{HOURLY},probe={probe} {','.join(fields)} {hour_ms}000000" if fields else None


def unfit(row: OutRow) -> str | None:
    """Return why a row cannot be put into a line at all, or None."""
    if not (_is_id(row.probe) and _is_id(row.shed)):
        return f"probe {row.probe!r} of shed {row.shed!r}, expected ids of a-z, 0-9, - and _"
    if not all(map(_is_channel, row.values)):
        return f"channels {', '.join(map(repr, row.values))}, expected names of a-z, 0-9 and _"
    if not EARLIEST_MS < row.taken_at_ms < LATEST_MS:
        return f"time is {row.taken_at_ms} ms, expected one from 1678 to 2261"
    if not all(map(isfinite, row.values.values())):
        return "a value is not a number that can be stored"
    return None


@lru_cache(NAMES_CACHED)
def _begin(channel: str) -> str:
    """Return how a channel's value begins in a line."""
    return f"{field_of(channel)}="


_is_id = lru_cache(NAMES_CACHED)(is_id)
_is_channel = lru_cache(NAMES_CACHED)(is_channel_name)
