"""What is sent for a row: its line, and the lines by which followers and sums learn of it.

A row that may have been said before (it is late, or not newer than what was sent of its probe) is
compared with what the server has, so that a repetition changes nothing and keeps its first receipt.
For all other rows no question is asked, which is what makes sending quick.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import msgspec

from underlid.storage.influx.buffer import Dirty
from underlid.storage.influx.lines import (
    OutRow,
    late_line,
    probe_line,
    reading_line,
    stale_line,
)
from underlid.storage.influx.names import RECEIVED, SENT, SOURCE, channel_of
from underlid.storage.influx.server import InfluxServer
from underlid.timeline import HOUR_MS, MINUTE_MS, SECOND_MS

PROMPT_MS: Final = 10 * SECOND_MS
"""A row that is sent on later than this after its receipt says so (`sent_at_ms`), because only then
could others know of it."""

LIVE_MS: Final = MINUTE_MS
"""A row that arrives later than this after it was taken gets a line of its own in `late`; younger
ones are found by looking at the last minutes of all probes."""

MARK_AFTER_MS: Final = HOUR_MS
"""An hour may be summed up two hours after its end (`hours.GRACE_MS`); rows for it are marked from
one hour on, so that clocks that differ by less than an hour do no harm."""

GAP_MS: Final = HOUR_MS
"""Late rows of a probe closer together than this are looked up together."""

STATEMENTS_MOST: Final = 100
"""Statements in one request."""


Selected = dict[str, int | float | bool | str | None]
"""A row as it was selected, by the names of its fields."""


class Outgoing(msgspec.Struct, frozen=True):
    """A row and what is written for it."""

    row: OutRow
    line: str
    further: tuple[str, ...]
    dirty: Dirty


@dataclass(frozen=True, slots=True)
class Held:
    """What the server has of a row."""

    received_at_ms: int
    time_source: int
    values: dict[str, float]


class Sorter:
    """Turns rows into what is sent; remembers per probe how far it has come."""

    def __init__(self, server: InfluxServer, worker: str) -> None:
        self._server = server
        self._worker = worker
        self._newest: dict[str, int] = {}
        self._told: dict[str, tuple[str, int]] = {}

    def sort(self, rows: Sequence[OutRow], now_ms: int) -> list[Outgoing]:
        """Return what is to be sent; rows that the server has as they are fall out."""
        doubtful = [one for one in rows if self._may_be_known(one)]
        held = look_up(self._server, doubtful) if doubtful else {}
        outgoing = []
        for row in rows:
            known = held.get((row.probe, row.taken_at_ms))
            one = self._news(row, now_ms) if known is None else self._merged(row, known, now_ms)
            if one is not None:
                outgoing.append(one)
        return outgoing

    def done(self, outgoing: Sequence[Outgoing]) -> None:
        """Note what the server has now."""
        for one in outgoing:
            row = one.row
            self._newest[row.probe] = max(self._newest.get(row.probe, 0), row.taken_at_ms)
            self._told[row.probe] = (row.shed, row.received_at_ms // HOUR_MS)

    def _may_be_known(self, row: OutRow) -> bool:
        if row.received_at_ms - row.taken_at_ms > LIVE_MS:
            return True
        newest_ms = self._newest.get(row.probe)
        return newest_ms is not None and row.taken_at_ms <= newest_ms

    def _news(self, row: OutRow, now_ms: int) -> Outgoing:
        """Return what is sent for a row that the server does not have."""
        held_up = now_ms - row.received_at_ms > PROMPT_MS
        arrived_ms = now_ms if held_up else row.received_at_ms
        return self._outgoing(row, arrived_ms, now_ms)

    def _merged(self, row: OutRow, held: Held, now_ms: int) -> Outgoing | None:
        """Return what is sent for a row of which the server has something, or None.

        As `hot.merged_row`: a row that gains a channel was complete only when that came.
        """
        gains = not held.values.keys() >= row.values.keys()
        choose = max if gains else min
        received_ms = choose(held.received_at_ms, row.received_at_ms)
        source = min(held.time_source, row.time_source)
        same = not gains and all(held.values[name] == value for name, value in row.values.items())
        if same and (received_ms, source) == (held.received_at_ms, held.time_source):
            return None
        held_up = now_ms - row.received_at_ms > PROMPT_MS
        arrived_ms = now_ms if held_up else row.received_at_ms
        merged = msgspec.structs.replace(row, received_at_ms=received_ms, time_source=source)
        return self._outgoing(merged, received_ms if same else arrived_ms, now_ms)

    def _outgoing(self, row: OutRow, arrived_ms: int, now_ms: int) -> Outgoing:
        sent_at_ms = arrived_ms if arrived_ms != row.received_at_ms else None
        hour = row.taken_at_ms // HOUR_MS
        marked = (hour + 1) * HOUR_MS + MARK_AFTER_MS < now_ms
        further = []
        if arrived_ms - row.taken_at_ms > LIVE_MS:
            further.append(late_line(row.probe, arrived_ms, row.taken_at_ms))
        if marked:
            further.append(stale_line(row.probe, self._worker, hour, stale=True))
        if self._told.get(row.probe) != (row.shed, row.received_at_ms // HOUR_MS):
            further.append(probe_line(row.probe, row.shed, row.received_at_ms))
        return Outgoing(
            row, reading_line(row, sent_at_ms), tuple(further), Dirty(hour, row.probe, marked)
        )


def look_up(server: InfluxServer, rows: Sequence[OutRow]) -> dict[tuple[str, int], Held]:
    """Return what the server has of *rows*, by probe and time."""
    statements = [
        f"SELECT * FROM reading WHERE probe = '{probe}' AND time >= {first_ms}ms"
        f' AND time <= {last_ms}ms GROUP BY "probe"'
        for probe, first_ms, last_ms in _spans(rows)
    ]
    wanted = {(one.probe, one.taken_at_ms) for one in rows}
    found = {}
    for probe, at_ms, row in selected(server, statements):
        if (probe, at_ms) in wanted:
            found[probe, at_ms] = held_of(row, at_ms)
    return found


def selected(
    server: InfluxServer, statements: Sequence[str]
) -> Iterator[tuple[str, int, Selected]]:
    """Yield probe, time and cells of each row of `reading` that the statements select."""
    for first in range(0, len(statements), STATEMENTS_MOST):
        for table in server.query(statements[first : first + STATEMENTS_MOST]):
            for cells in table.rows:
                row = dict(zip(table.columns, cells, strict=True))
                yield table.tags["probe"], int(row["time"] or 0), row


def held_of(row: Selected, at_ms: int) -> Held:
    """Return one selected row; what another program wrote may lack our own fields."""
    values = {}
    for field, cell in row.items():
        channel = channel_of(field)
        if channel is not None and isinstance(cell, int | float):
            values[channel] = float(cell)
    received, source = row.get(RECEIVED), row.get(SOURCE)
    return Held(
        int(received) if isinstance(received, int | float) else at_ms,
        int(source) if isinstance(source, int | float) else 0,
        values,
    )


def arrived_ms(row: Selected, at_ms: int) -> int:
    """Return when others could know of a selected row."""
    times = [row.get(RECEIVED), row.get(SENT)]
    return int(max([one for one in times if isinstance(one, int | float)], default=at_ms))


def _spans(rows: Sequence[OutRow]) -> Iterator[tuple[str, int, int]]:
    """Yield stretches (probe, first, last) that hold all *rows* without long gaps."""
    ordered = sorted((one.probe, one.taken_at_ms) for one in rows)
    probe, first_ms = ordered[0]
    last_ms = first_ms
    for name, at_ms in ordered[1:]:
        if name != probe or at_ms - last_ms > GAP_MS:
            yield probe, first_ms, last_ms
            probe, first_ms = name, at_ms
        last_ms = at_ms
    yield probe, first_ms, last_ms
