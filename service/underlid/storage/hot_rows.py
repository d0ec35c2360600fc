"""Reading the hot table back: rows into series, a few thousand at a time.

Small bites, because turning rows into numbers holds the interpreter, and the writer waits for it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from typing import Final

import numpy as np

from underlid.storage.protocols import Floats, RawSeries

ROWS_A_BITE: Final = 2000
"""Rows turned into numbers at once: about a millisecond."""

PROBES_NAMED_MOST: Final = 1000
"""Up to so many probes SQLite picks the rows, beyond it they are picked afterwards; it takes at
most 32,766 parameters."""


def read_hot(
    reader: sqlite3.Connection,
    start_ms: int,
    end_ms: int,
    probes: Collection[int],
    channels: Collection[str] | None = None,
) -> dict[int, RawSeries]:
    """Return the hot rows of *probes* in [start_ms, end_ms), by probe id, in time order.

    *channels* leaves all others out; rows that then have no value stay.
    """
    columns = {
        name: f"c{number}"
        for name, number in reader.execute("SELECT name, id FROM channel ORDER BY id")
        if channels is None or name in channels
    }
    statement = (
        f"SELECT {', '.join(['probe', 'time', 'delay_ms', 'source', *columns.values()])}"
        " FROM hot WHERE time >= ? AND time < ?"
    )
    named = tuple(probes) if len(probes) <= PROBES_NAMED_MOST else ()
    if named:
        statement += f" AND probe IN ({', '.join('?' * len(named))})"
    cursor = reader.execute(statement, (start_ms, end_ms, *named))
    bites = []
    while rows := cursor.fetchmany(ROWS_A_BITE):
        bites.append(np.array(rows, dtype=np.float64))
    if not bites:
        return {}
    table = np.concatenate(bites)
    table = table[np.argsort(table[:, 0], kind="stable")]
    edges = np.flatnonzero(np.diff(table[:, 0], prepend=-1.0))
    return {
        number: _series(mine, list(columns))
        for mine in np.split(table, edges[1:])
        if (number := int(mine[0, 0])) in probes
    }


def _series(mine: Floats, channels: list[str]) -> RawSeries:
    """Return one probe's rows (probe, time, delay, source, a column a channel) as a series."""
    taken_at_ms, delay_ms, source = mine[:, 1:4].T.astype(np.int64)
    values = {}
    for place, name in enumerate(channels, start=4):
        column = mine[:, place]
        if not np.isnan(column).all():
            values[name] = np.ascontiguousarray(column)
    return RawSeries(taken_at_ms, taken_at_ms + delay_ms, values, source)
