"""The probes that ever spoke, to whichever worker: asked of the server once, then kept up by arrivals.

What waits here is known to the buffer itself and is merged in when somebody asks. While the server
is away the answer is what was known before, which is enough for a page; whoever must not miss a
probe calls `ask` first.
"""

from __future__ import annotations

import threading
from typing import Final

import msgspec
import structlog

from underlid.clock import Clock, monotonic_s
from underlid.readings.values import Reading
from underlid.storage.arrivals import CHUNK, LOOK_BACK_MS
from underlid.storage.influx import selecting
from underlid.storage.influx.arrived import arrived_since
from underlid.storage.influx.lines import LATEST_MS, NS_A_MS
from underlid.storage.influx.names import LATE, PROBE, RECEIVED, SOURCE, field_of
from underlid.storage.influx.server import InfluxServer
from underlid.storage.influx.trouble import ServerError
from underlid.storage.protocols import ProbeSeen
from underlid.storage.seen import Newest, SeenProbes

log = structlog.get_logger(__name__)

FRESH_S: Final = 1.0
"""For so long an answer stands before the server is asked again: a page asks for many probes."""

AWAY_S: Final = 30.0
"""After a failure it is not asked again for so long: a page must not wait for it each time."""


class KnownProbes:
    """Newest values by probe; any thread may ask."""

    def __init__(self, server: InfluxServer, clock: Clock, local: SeenProbes) -> None:
        self._server = server
        self._clock = clock
        self._local = local
        self._lock = threading.Lock()
        self._newest: dict[str, Newest] = {}
        self._sheds: dict[str, str] = {}
        self._since_ms = 0
        self._loaded = False
        self._asked_s = float("-inf")

    def ask(self) -> None:
        """Ask the server now; raises `ServerError` when it does not answer."""
        with self._lock:
            self._ask()

    def one(self, probe: str) -> ProbeSeen | None:
        """Return one probe, or None when it is not known."""
        with self._lock:
            self._refresh()
            held = self._newest.get(probe)
            newest, shed = None if held is None else _copy(held), self._sheds.get(probe, "")
        here = self._local.newest_of(probe)
        if here is not None:
            shed, waiting = here
            newest = _copy(waiting) if newest is None else _merged(newest, waiting)
        return None if newest is None else _shown(probe, shed, newest)

    def all(self) -> dict[str, ProbeSeen]:
        """Return all probes, in the order of their names."""
        with self._lock:
            self._refresh()
            newest = {name: _copy(one) for name, one in self._newest.items()}
            sheds = dict(self._sheds)
        for name, shed, one in self._local.newest():
            sheds[name] = shed
            newest[name] = _merged(newest[name], one) if name in newest else _copy(one)
        return {
            name: _shown(name, sheds.get(name, ""), one) for name, one in sorted(newest.items())
        }

    def with_sheds(self, readings: list[Reading]) -> list[Reading]:
        """Return *readings* with the shed in which each probe spoke last, as far as is known."""
        with self._lock:
            if any(one.probe not in self._sheds for one in readings):
                self._load_sheds()
            sheds = self._sheds
            return [msgspec.structs.replace(one, shed=sheds.get(one.probe, "")) for one in readings]

    def _refresh(self) -> None:
        if monotonic_s() - self._asked_s < FRESH_S:
            return
        try:
            self._ask()
        except ServerError as error:
            log.info("which probes there are is asked again later", said=error.said)
            self._asked_s = monotonic_s() + AWAY_S

    def _ask(self) -> None:
        if not self._loaded:
            self._since_ms = self._clock.now_ms()
            self._load()
            self._loaded = True
        else:
            self._follow()
        self._asked_s = monotonic_s()

    def _follow(self) -> None:
        """Take in what arrived since the last look."""
        now_ms = self._clock.now_ms()
        from_ms = self._since_ms - LOOK_BACK_MS
        strangers = False
        while found := arrived_since(self._server, from_ms, CHUNK, now_ms):
            strangers |= any(one.probe not in self._sheds for one in found)
            for one in found:
                self._note(one)
            from_ms = found[-1].received_at_ms + 1
            if len(found) < CHUNK:
                break
        self._since_ms = max(self._since_ms, now_ms)
        if strangers:
            self._load_sheds()

    def _note(self, one: Reading) -> None:
        at_ms = one.taken_at_ms
        mine = self._newest.get(one.probe)
        if mine is None:
            mine = self._newest[one.probe] = Newest(at_ms, at_ms, one.received_at_ms, {})
        mine.note(at_ms, at_ms, one.received_at_ms)
        for channel, value in one.values.items():
            mine.note_value(channel, at_ms, value)
        if one.shed:
            self._sheds[one.probe] = one.shed

    def _load(self) -> None:
        """Ask for the first, the last and the newest value of each channel of every probe."""
        channels = selecting.channels(self._server)
        picks = [f'first("{SOURCE}")', f'last("{SOURCE}")', f'last("{RECEIVED}")']
        picks += [f'last("{field_of(name)}")' for name in channels]
        span = selecting.between(0, LATEST_MS)
        statements = [f'SELECT {pick} FROM reading WHERE {span} GROUP BY "probe"' for pick in picks]
        for table in self._server.query(statements):
            probe, (at, value, *_) = table.tags["probe"], table.rows[0]
            at_ms, number = int(at or 0), float(value or 0.0)
            mine = self._newest.setdefault(probe, Newest(at_ms, at_ms, 0, {}))
            if table.statement < 3:
                received_ms = int(number) if table.statement == 2 else 0
                mine.note(at_ms, at_ms, received_ms)
            else:
                mine.note_value(channels[table.statement - 3], at_ms, number)
        late = f'SELECT last("n") FROM {LATE} WHERE {span} GROUP BY "probe"'
        for table in self._server.query([late], epoch="ns"):
            held = self._newest.get(table.tags["probe"])
            if held is not None:
                received_ms = int(table.rows[0][0] or 0) // NS_A_MS
                held.last_received_at_ms = max(held.last_received_at_ms, received_ms)
        self._load_sheds()

    def _load_sheds(self) -> None:
        span = selecting.between(0, LATEST_MS)
        statement = f'SELECT last("shed") FROM {PROBE} WHERE {span} GROUP BY "probe"'
        for table in self._server.query([statement]):
            self._sheds[table.tags["probe"]] = str(table.rows[0][1])


def _shown(probe: str, shed: str, newest: Newest) -> ProbeSeen:
    return ProbeSeen(
        probe,
        shed,
        newest.first_taken_at_ms,
        newest.last_taken_at_ms,
        newest.last_received_at_ms,
        {channel: value for channel, (_, value) in newest.values.items()},
    )


def _copy(one: Newest) -> Newest:
    return Newest(
        one.first_taken_at_ms, one.last_taken_at_ms, one.last_received_at_ms, dict(one.values)
    )


def _merged(mine: Newest, other: Newest) -> Newest:
    mine.note(other.first_taken_at_ms, other.last_taken_at_ms, other.last_received_at_ms)
    for channel, (at_ms, value) in dict(other.values).items():
        mine.note_value(channel, at_ms, value)
    return mine
