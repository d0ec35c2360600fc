"""Readings as line protocol, built directly: the client's point objects cost two to three times it.

Nothing is escaped, because nothing that would need it gets here: `unfit` finds what does not fit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

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

NS_A_MS = 1_000_000

EARLIEST_MS = -(2**63) // NS_A_MS + HOUR_MS
LATEST_MS = (2**63 - 1) // NS_A_MS - HOUR_MS
"""InfluxDB counts nanoseconds in 64 bits: from 1677 to 2262."""


@dataclass(frozen=True, slots=True)
class OutRow:
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
    fields = "".join([f"{field_of(name)}={value!r}," for name, value in row.values.items()])
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
    for what, name, fits in (
        ("probe id", row.probe, is_id(row.probe)),
        ("shed id", row.shed, is_id(row.shed)),
        *(("channel name", name, is_channel_name(name)) for name in row.values),
    ):
        if not fits:
            return f"{what} is {name!r}, expected letters, digits, - and _ only"
    if not EARLIEST_MS < row.taken_at_ms < LATEST_MS:
        return f"time is {row.taken_at_ms} ms, expected one from 1678 to 2261"
    if not all(abs(value) < float("inf") for value in row.values.values()):
        return "a value is not a number that can be stored"
    return None
