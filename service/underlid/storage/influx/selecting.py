"""The statements that read readings back, and their answers as series and sums.

Every statement names both ends of its time. Ids are checked before they get here, so they stand in a
pattern as they are.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Final

import numpy as np

from underlid.readings.channels import is_id
from underlid.storage.influx.answers import Table
from underlid.storage.influx.lines import EARLIEST_MS, LATEST_MS
from underlid.storage.influx.names import HOURLY, RECEIVED, SOURCE, SUMS, channel_of, field_of
from underlid.storage.influx.server import InfluxServer
from underlid.storage.protocols import RawSeries
from underlid.storage.rollups import Sums
from underlid.storage.series import NOTHING, joined
from underlid.timeline import HOUR_MS

PROBES_NAMED_MOST: Final = 100
"""So many probes are named in a pattern; more are picked from an answer that holds all."""


def between(start_ms: int, end_ms: int) -> str:
    """Return the condition start ≤ time < end, within what the server can count."""
    start_ms, end_ms = max(start_ms, EARLIEST_MS), min(end_ms, LATEST_MS)
    return f"time >= {start_ms}ms AND time < {end_ms}ms"


def of_probes(probes: Collection[str]) -> str:
    """Return the condition that keeps *probes*; empty for more than can be named."""
    named = sorted(name for name in probes if is_id(name))
    if len(named) > PROBES_NAMED_MOST:
        return ""
    return f' AND "probe" =~ /^({"|".join(named)})$/'


def channels(server: InfluxServer) -> list[str]:
    """Return every channel that the server has."""
    found = server.query(["SHOW FIELD KEYS FROM reading"])
    fields = [str(field) for table in found for field in table.column("fieldKey")]
    return [name for field in fields if (name := channel_of(field)) is not None]


def raw(server: InfluxServer, probe: str, start_ms: int, end_ms: int) -> RawSeries:
    """Return the readings that the server has of a probe in [start_ms, end_ms)."""
    if not is_id(probe) or end_ms <= start_ms:
        return NOTHING
    statement = (
        f'SELECT * FROM reading WHERE "probe" = $probe AND {between(start_ms, end_ms)}'
        ' GROUP BY "probe"'
    )
    return joined([series_of(one) for one in server.query([statement], {"probe": probe})])


def series_of(table: Table) -> RawSeries:
    """Return a table of `reading` as a series; what others wrote may lack our own fields."""
    numbers = table.numbers()
    columns = {name: numbers[:, place] for place, name in enumerate(table.columns)}
    taken_at_ms = columns["time"].astype(np.int64)
    received = columns.get(RECEIVED, np.full(len(taken_at_ms), np.nan))
    source = columns.get(SOURCE, np.zeros(len(taken_at_ms)))
    values = {}
    for field, column in columns.items():
        channel = channel_of(field)
        if channel is not None and not np.isnan(column).all():
            values[channel] = np.ascontiguousarray(column)
    return RawSeries(
        taken_at_ms,
        np.where(np.isnan(received), taken_at_ms, received).astype(np.int64),
        values,
        np.nan_to_num(source).astype(np.int64),
    )


def summed(
    server: InfluxServer,
    probes: Collection[str],
    names: Sequence[str],
    first_ms: int,
    n: int,
    step_ms: int,
) -> dict[str, dict[str, Sums]]:
    """Return the server's own sums of the channels *names* in *n* steps, by probe and channel."""
    if not names or not probes or not n:
        return {}
    parts = ", ".join(
        f'min("{field}"), sum("{field}"), max("{field}"), count("{field}")'
        for field in map(field_of, names)
    )
    statement = (
        f"SELECT {parts} FROM reading WHERE {between(first_ms, first_ms + n * step_ms)}"
        f'{of_probes(probes)} GROUP BY time({step_ms}ms), "probe" fill(none)'
    )
    found: dict[str, dict[str, Sums]] = {}
    for table in server.query([statement]):
        probe = table.tags.get("probe", "")
        if probe in probes:
            _take(found.setdefault(probe, {}), table, names, first_ms, n, step_ms)
    return found


def hours(
    server: InfluxServer, probe: str, names: Sequence[str], first_ms: int, n: int
) -> tuple[dict[str, Sums], set[int]]:
    """Return *n* kept hours of a probe by channel, and which places are kept and not stale."""
    if not is_id(probe) or not names:
        return {}, set()
    fields = ", ".join(f'"{name}_{part}"' for name in names for part in SUMS)
    span = between(first_ms, first_ms + n * HOUR_MS)
    found: dict[str, Sums] = {}
    known: set[int] = set()
    tables = server.query(
        [
            f'SELECT {fields} FROM {HOURLY} WHERE "probe" = $probe AND {span}',
            f'SELECT "n" FROM stale WHERE "n" > 0 AND "probe" = $probe AND {span}',
        ],
        {"probe": probe},
    )
    for table in tables:
        numbers = table.numbers()
        places = ((numbers[:, 0] - first_ms) // HOUR_MS).astype(np.int64)
        if table.statement == 0:
            _put(found, numbers[:, 1:], places, names, n)
            known.update(places.tolist())
        else:
            known.difference_update(places.tolist())
    return found, known


def _take(
    into: dict[str, Sums],
    table: Table,
    names: Sequence[str],
    first_ms: int,
    n: int,
    step_ms: int,
) -> None:
    """Take the rows of one table of sums in."""
    numbers = table.numbers()
    places = ((numbers[:, 0] - first_ms) // step_ms).astype(np.int64)
    _put(into, numbers[:, 1:], places, names, n)


def _put(
    into: dict[str, Sums],
    cells: np.ndarray[tuple[int, int], np.dtype[np.float64]],
    places: np.ndarray[tuple[int], np.dtype[np.int64]],
    names: Sequence[str],
    n: int,
) -> None:
    """Put low, sum, high and count of each channel at their places."""
    for at, name in enumerate(names):
        low, total, high, count = cells[:, 4 * at : 4 * at + 4].T
        full = np.nan_to_num(count) > 0
        if not full.any():
            continue
        sums = into.get(name)
        if sums is None:
            sums = into[name] = Sums.empty(n)
        where = places[full]
        sums.low[where], sums.total[where], sums.high[where] = low[full], total[full], high[full]
        sums.count[where] = count[full].astype(np.int64)


def without(sums: Mapping[str, Sums], places: Sequence[int]) -> None:
    """Empty the buckets at *places* in every channel."""
    at = np.array(places, np.int64)
    for one in sums.values():
        one.low[at], one.high[at], one.total[at], one.count[at] = np.nan, np.nan, 0.0, 0
