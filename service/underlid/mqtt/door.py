"""The door: an MQTT endpoint for probes whose PUBACK means that the reading is on disk.

Not a broker: what one client publishes is not passed to another. All connections share one
batch: what they sent since the last turn of the loop goes to the writer together, and after its
commit every connection gets one write with all its PUBACKs. Next: `connection.py`, `session.py`.
"""

from __future__ import annotations

import asyncio
import contextlib
import resource
import secrets
import ssl
import threading
from dataclasses import dataclass
from functools import partial
from typing import Final

import structlog

from underlid.clock import Clock, SystemClock, monotonic_s, pause
from underlid.errors import UnderlidError
from underlid.mqtt.confirm import confirmed, payloads
from underlid.mqtt.connection import Connection
from underlid.mqtt.counts import Counts, LogBrake
from underlid.mqtt.encoding import encode
from underlid.mqtt.endings import Ending
from underlid.mqtt.events import Arrived, Ended
from underlid.mqtt.grants import Grants
from underlid.mqtt.handover import Handover
from underlid.mqtt.intake import Intake, Outcome
from underlid.mqtt.outward import confirm_topic
from underlid.mqtt.packets import V5, Publish
from underlid.mqtt.readers import Readers

CHECK_EVERY_S: Final = 1.0
"""The grain of every time-out at the door."""

STOP_WITHIN_S: Final = 5.0
"""A stop waits this long for the commits under way."""

STOP_TURN_S: Final = 0.02
"""Between two looks at them; also what the goodbyes have to leave the machine."""

FILES_LEFT_FREE: Final = 200
"""Open files that the rest of the service may need beside the door's connections."""

_QUIET: Final = frozenset({Ending.LEFT, Ending.LOST, Ending.TAKEN_OVER, Ending.STOPPED})
"""Endings of every day, not worth a line."""


@dataclass(frozen=True, slots=True)
class Limits:
    """The bounds of the door; what happens at each is in the MQTT page of the documents."""

    connections: int = 2000
    """1000 probes and as many again while they reconnect."""
    half_open: int = 256
    """Connections that have not said CONNECT; the oldest makes room for a new one."""
    messages_per_s: float = 2000.0
    burst: int = 20_000
    """Per client: two weeks of one-minute readings may come at once, then it is slowed."""
    in_flight: int = 1000
    """Per client: unacknowledged messages after which nothing more is read from it."""


class Door:
    """Listens for probes. Create, `await start()`, `publish(...)`, `await stop()`.

    `port` and `tls_port` are the real ports after the start; 0 asks for a free one, None for
    none.
    """

    def __init__(
        self,
        intake: Intake,
        grants: Grants,
        *,
        host: str = "0.0.0.0",
        port: int | None = 1883,
        tls_port: int | None = None,
        tls: ssl.SSLContext | None = None,
        clock: Clock | None = None,
        limits: Limits | None = None,
    ) -> None:
        self.grants = grants
        self.port = port
        self.tls_port = tls_port if tls is not None else None
        self.limits = limits or Limits()
        self.counts = Counts()
        self.readers: Readers[Connection] = Readers()
        self.now_ms = (clock or SystemClock()).now_ms
        self._host = host
        self._tls = tls
        self._servers: list[asyncio.Server] = []
        self._connections: dict[Connection, None] = {}
        self._half_open: dict[Connection, None] = {}
        self._owners: dict[tuple[str, str], Connection] = {}
        self.handover = Handover(intake, self.counts, self._connections, self._confirm)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread = threading.get_ident()
        self._brake = LogBrake()
        self._log = structlog.get_logger("underlid.mqtt.door")

    async def start(self) -> None:
        """Open the ports; `UnderlidError` when one cannot be had."""
        self._loop = asyncio.get_running_loop()
        self._thread = threading.get_ident()
        self.handover.start()
        open_files = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
        self._connections_max = min(self.limits.connections, max(1, open_files - FILES_LEFT_FREE))
        if self.port is not None:
            self.port = await self._listen(self._loop, self.port, None)
        if self.tls_port is not None:
            self.tls_port = await self._listen(self._loop, self.tls_port, self._tls)
        self._checking = asyncio.create_task(self._check_for_ever())

    async def stop(self) -> None:
        """Take nothing new, answer what is at the writer, say goodbye."""
        self._checking.cancel()
        for server in self._servers:
            server.close()
        self.handover.stopping = True
        for connection in self._connections:
            connection.hold_for_writer(True)
        until_s = monotonic_s() + STOP_WITHIN_S
        while not self.handover.idle() and monotonic_s() < until_s:
            await pause(STOP_TURN_S)
        for connection in list(self._connections):
            connection.end(Ending.STOPPED, "The service stops.")
        await pause(STOP_TURN_S)
        for connection in list(self._connections):
            connection.abort()
        await pause(0)

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> None:
        """Send one of the service's own messages to its readers; from any thread."""
        if self._loop is None or threading.get_ident() == self._thread:
            self._publish(topic, payload, retain)
            return
        with contextlib.suppress(RuntimeError):  # the loop is closed: there are no readers
            self._loop.call_soon_threadsafe(self._publish, topic, payload, retain)

    def set_grants(self, grants: Grants) -> None:
        """Take new users and secrets; clients whose secret changed are sent away."""
        self.grants = grants
        for connection in list(self._connections):
            connection.carry_out(connection.session.regrant(grants, self.now_ms()))

    def new_client_id(self) -> str:
        """Return a name for a client that gave none."""
        return f"probe-{secrets.token_hex(8)}"

    # -- called by connections ------------------------------------------------------------

    def entered(self, connection: Connection) -> bool:
        """Note a new connection; False when there is no room for it."""
        self.counts.connections += 1
        full = len(self._connections) >= self._connections_max
        if self._half_open and (full or len(self._half_open) >= self.limits.half_open):
            oldest = next(iter(self._half_open))
            self.counts.refused["half_open"] += 1
            self.left(oldest)
            oldest.abort()
        elif full:
            self.counts.refused["connections"] += 1
            return False
        self._connections[connection] = None
        self._half_open[connection] = None
        self.counts.open = len(self._connections)
        if self.handover.blocked:
            connection.hold_for_writer(True)
        return True

    def opened(self, connection: Connection) -> None:
        """Note a client that was let in; it takes over from one of the same name and user."""
        self._half_open.pop(connection, None)
        owner = connection.owner
        if owner is None:
            return
        older = self._owners.get(owner)
        if older is not None:
            older.end(Ending.TAKEN_OVER, "The same client connected again.")
        self._owners[owner] = connection

    def left(self, connection: Connection) -> None:
        """Forget a connection."""
        self._connections.pop(connection, None)
        self._half_open.pop(connection, None)
        self.counts.open = len(self._connections)

    def ended(self, connection: Connection, event: Ended, peer: str) -> None:
        """Clean up after a session: its readers, its name, its will."""
        self._half_open.pop(connection, None)
        self.readers.remove(connection, connection.session.subscriptions)
        owner = connection.owner
        if owner is not None and self._owners.get(owner) is connection:
            del self._owners[owner]
        if event.will is not None:
            self.handover.take(connection, Arrived([event.will]))
        if event.ending not in _QUIET:
            who = connection.session.user or peer
            self.refused(event.ending.label, who, event.sentence)

    def refused(self, label: str, who: str, sentence: str) -> None:
        """Count a refusal, and log it unless it was logged a moment ago."""
        self.counts.refused[label] += 1
        left_out = self._brake.due(label, who, monotonic_s())
        if left_out is not None:
            self._log.warning(
                "door refused", reason=label, who=who, sentence=sentence, left_out=left_out
            )

    # -- what goes out ----------------------------------------------------------------------

    def _confirm(self, outcome: Outcome) -> None:
        """Tell probes that listen which of their numbered messages are on disk."""
        if not self.readers:
            return
        for (shed, probe), ranges in confirmed(outcome.admitted.readings).items():
            topic = confirm_topic(shed, probe)
            for payload in payloads(ranges):
                self._publish(topic, payload, retain=False)

    def _publish(self, topic: str, payload: bytes, retain: bool) -> None:
        if retain and not self.readers.keep(topic, payload):
            self.counts.refused["retained"] += 1
        encoded: dict[tuple[int, bool], bytes] = {}
        for connection, filters in self.readers.of(topic).items():
            session = connection.session
            kept = session.version == V5 and any(
                session.subscriptions[one].retain_as_published for one in filters
            )
            key = session.version, retain and kept
            data = encoded.get(key)
            if data is None:
                data = encoded[key] = encode(Publish(topic, payload, retain=key[1]), key[0])
            if connection.deliver(topic, data, retain):
                self.counts.sent += 1
            else:
                self.counts.dropped += 1

    # -- listening ------------------------------------------------------------------------

    async def _listen(
        self, loop: asyncio.AbstractEventLoop, port: int, tls: ssl.SSLContext | None
    ) -> int:
        try:
            server = await loop.create_server(
                partial(Connection, self), self._host, port, ssl=tls, backlog=1024
            )
        except OSError as error:
            raise UnderlidError(
                "address of the MQTT door",
                value=f"{self._host}:{port}",
                expected=f"one that can be listened on ({error.strerror or error})",
                next_step="Stop the other program, or choose another door_port.",
            ) from error
        self._servers.append(server)
        bound: int = server.sockets[0].getsockname()[1]
        return bound

    async def _check_for_ever(self) -> None:
        while True:
            await pause(CHECK_EVERY_S)
            now_s = monotonic_s()
            for connection in list(self._connections):
                connection.check(now_s)
