"""Readings by when they were received, across all probes, from hot rows and packed days.

Hot rows are looked through one and all: there are a few hours of them. Of the packed days only
those are unpacked in which something was received since, which an index tells. `arrivals.py`
follows a store by this.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from math import isnan

from underlid.readings.values import Reading, TimeSource
from underlid.storage.day_block import unpack
from underlid.storage.protocols import RawSeries


def arrived_rows(reader: sqlite3.Connection, since_ms: int, most: int) -> list[Reading]:
    """Return the readings received at or after *since_ms* (see `ReadingStore.arrived_since`)."""
    found = {(one.probe, one.taken_at_ms): one for one in _hot(reader, since_ms, most)}
    blocks = reader.execute(
        "SELECT name, shed, block FROM packed_day JOIN probe ON probe = id"
        " WHERE last_received_ms >= ?",
        (since_ms,),
    )
    for probe, shed, block in blocks:
        for one in readings_of(unpack(block), probe, shed):
            if one.received_at_ms >= since_ms:
                found.setdefault((probe, one.taken_at_ms), one)
        if len(found) > 4 * most:
            found = {(one.probe, one.taken_at_ms): one for one in oldest(found.values(), most)}
    return oldest(found.values(), most)


def readings_of(series: RawSeries, probe: str, shed: str) -> Iterator[Reading]:
    """Yield the rows of a series as readings."""
    columns = {name: column.tolist() for name, column in series.values.items()}
    for place, (taken, received, source) in enumerate(
        zip(
            series.taken_at_ms.tolist(),
            series.received_at_ms.tolist(),
            series.time_source.tolist(),
            strict=True,
        )
    ):
        values = {
            name: column[place] for name, column in columns.items() if not isnan(column[place])
        }
        yield Reading(probe, shed, taken, received, values, TimeSource(source))


def oldest(readings: Iterable[Reading], most: int) -> list[Reading]:
    """Return the *most* readings received first, and whatever shares the last one's millisecond."""
    ordered = sorted(readings, key=lambda one: (one.received_at_ms, one.probe, one.taken_at_ms))
    if len(ordered) <= most:
        return ordered
    last_ms = ordered[most - 1].received_at_ms
    end = next(
        (at for at in range(most, len(ordered)) if ordered[at].received_at_ms > last_ms),
        len(ordered),
    )
    return ordered[:end]


def _hot(reader: sqlite3.Connection, since_ms: int, most: int) -> Iterator[Reading]:
    """Yield the hot rows received since, as many as may be needed."""
    channels = reader.execute("SELECT name, id FROM channel ORDER BY id").fetchall()
    names = [name for name, _ in channels]
    columns = "".join(f", c{number}" for _, number in channels)
    rows = reader.execute(
        f"SELECT name, shed, time, time + delay_ms, source{columns}"
        " FROM hot JOIN probe ON probe = id WHERE time + delay_ms BETWEEN ?1 AND"
        " (SELECT max(at_ms) FROM (SELECT time + delay_ms AS at_ms FROM hot"
        " WHERE time + delay_ms >= ?1 ORDER BY 1 LIMIT ?2))",
        (since_ms, most),
    )
    for probe, shed, taken, received, source, *row in rows:
        values = {name: value for name, value in zip(names, row, strict=True) if value is not None}
        yield Reading(probe, shed, taken, received, values, TimeSource(source))
