"""Empties the sessions of workers that are gone: what the broker keeps for them must not wait there.

A broker may hand messages of a shared subscription to a member that is away, and keep them in its
session (mosquitto does, in turn with the others). So when a worker that takes readings in gives no
sign of life, one of the others connects under its name, leaves the group, and takes in what waits.
A worker that comes back joins again by itself, and whoever stands in for it lets go.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from typing import Any, Final

import structlog

from underlid.clock import monotonic_s
from underlid.mqtt.broker import BrokerClient
from underlid.storage.records import Records
from underlid.workers.sharing import INGEST, Sharing

SESSION: Final = "session"
LOOK_EVERY_S: Final = 2.0
QUIET_S: Final = 5.0
"""A session is empty when it has brought nothing for so long; a broker sends what waits at once."""

log = structlog.get_logger(__name__)


@dataclass(slots=True)
class _StandIn:
    client: BrokerClient
    taken: int
    since_s: float


class Adoption:
    """Looks for workers that are gone; `look` is called by one thread at a time."""

    def __init__(
        self,
        records: Records,
        sharing: Sharing,
        connect: Callable[[str], BrokerClient],
        loop: asyncio.AbstractEventLoop,
    ) -> None:
        """*connect* returns a client that takes the session of the worker of that name over."""
        self._records = records
        self._sharing = sharing
        self._connect = connect
        self._loop = loop
        self._stand_ins: dict[str, _StandIn] = {}

    def look(self) -> None:
        """Begin with what is newly gone, go on, and let go of what is empty or has come back."""
        gone = self._records.gone(INGEST)
        if not gone and not self._stand_ins:
            return
        mine = self._sharing.share(SESSION, gone)
        for name in self._stand_ins.keys() - mine.keys():
            self._let_go(name)
        for name in sorted(mine.keys() - self._stand_ins.keys()):
            log.info("emptying the session of a worker that is gone", worker=name)
            client = self._connect(name)
            self._wait(client.start())
            self._stand_ins[name] = _StandIn(client, 0, monotonic_s())
        for name, one in list(self._stand_ins.items()):
            taken = one.client.counts.acknowledged
            if taken != one.taken or not one.client.connected.is_set():
                one.taken, one.since_s = taken, monotonic_s()
            elif monotonic_s() - one.since_s > QUIET_S:
                self._let_go(name)
                self._records.forget_gone(INGEST, name)
                log.info("the session is empty", worker=name, taken=taken)

    async def stop(self) -> None:
        """Let go of all; what waits goes to whoever looks next."""
        for name in list(self._stand_ins):
            await self._stand_ins.pop(name).client.stop()

    def _let_go(self, name: str) -> None:
        self._wait(self._stand_ins.pop(name).client.stop())

    def _wait(self, doing: Coroutine[Any, Any, None]) -> None:
        asyncio.run_coroutine_threadsafe(doing, self._loop).result()
