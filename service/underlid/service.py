"""The composition root: every part is made here, given what it needs, started and stopped in order.

Start: stores, judge filled from them, writer thread, then the doors and the page; so nothing is
acknowledged before there is a place for it. Stop: the other way round. A role has some of the
parts: `ingest` takes readings in, `judge` judges and tells, `web` has the pages, `all` has all.
What ties the parts together is in `parts.py`, `jobs.py` and `health.py`.
"""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import signal
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

import structlog

from underlid.alerts.quiet import QuietHours
from underlid.clock import Clock, SystemClock
from underlid.config import Settings
from underlid.health import health_of
from underlid.jobs import schedule
from underlid.journal.units import units_named
from underlid.mqtt.adoption import Adoption
from underlid.mqtt.broker import BrokerClient, BrokerPlace
from underlid.mqtt.door import Door
from underlid.mqtt.grants import HOUSEHOLD
from underlid.mqtt.intake import NoIntake
from underlid.mqtt.listening import Ear
from underlid.mqtt.mapped_topics import MappedTopics
from underlid.mqtt.places import broker_place, door_tls, shared_place
from underlid.mqtt.users import DoorUsers
from underlid.notify.addresses import RouteChannels, hint_of
from underlid.notify.channels import channels_from
from underlid.notify.outbox import Courier
from underlid.notify.push_keys import PushKeys
from underlid.parts import Parts, listen, rounds_of
from underlid.storage.entry_keeper import EntryKeeper
from underlid.storage.folder import folder_in_use, prepare_folder
from underlid.storage.readings_store import open_readings_to_run
from underlid.storage.recorder import Recorder
from underlid.storage.records import Records
from underlid.watch import Watch
from underlid.web.app import make_app
from underlid.web.context import Context
from underlid.web.live import Hub
from underlid.web.server import Server
from underlid.workers.roles import check_role
from underlid.workers.sharing import join
from underlid.workers.states import StoredStates
from underlid.workers.statuses import Statuses
from underlid.workers.tail import Tail

log = structlog.get_logger(__name__)

LOOPBACK: Final = ("127.0.0.1", "::1", "localhost")
START_KEY_BYTES: Final = 9
"""72 bits, for one use while the keeper stands by; short enough to type."""


@dataclass(frozen=True, slots=True)
class ServiceInfo:
    """Where things are, for whoever started the service."""

    data: Path
    web_url: str
    door_host: str
    door_port: int | None
    door_tls_port: int | None
    door_user: str
    door_password: str
    first_start: bool
    start_key: str
    """Asked for at the first start when the page is open to other machines; else empty."""
    pages: bool = True
    """Whether there are pages at `web_url`, or only what says how the worker is doing."""


def run(
    settings: Settings,
    *,
    clock: Clock | None = None,
    on_ready: Callable[[ServiceInfo], None] | None = None,
) -> None:
    """Run the whole service until it is asked to stop (SIGINT, SIGTERM)."""
    with asyncio.Runner(loop_factory=_fast_loop()) as runner:
        runner.run(Service(settings, clock or SystemClock()).serve(on_ready))


def _fast_loop() -> Callable[[], asyncio.AbstractEventLoop] | None:
    """Return uvloop's loop where there is one."""
    try:
        import uvloop
    except ImportError:
        return None
    return uvloop.new_event_loop


class Service:
    """One process that does everything, or among several workers what its role says."""

    def __init__(self, settings: Settings, clock: Clock) -> None:
        self.settings = settings
        self.clock = clock

    async def serve(self, on_ready: Callable[[ServiceInfo], None] | None = None) -> None:
        """Start, wait for the signal to stop, stop."""
        stopping = asyncio.Event()
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(number, stopping.set)
        async with contextlib.AsyncExitStack() as stack:
            info = await self._start(stack)
            log.info("ready", page=info.web_url, door=info.door_port, data=str(info.data))
            if on_ready is not None:
                on_ready(info)
            await stopping.wait()
            log.info("stopping")

    async def _start(self, stack: contextlib.AsyncExitStack) -> ServiceInfo:
        """Start every part that the role has; *stack* stops them in the reverse order."""
        settings = self.settings
        check_role(settings)
        folder = prepare_folder(settings.data)
        stack.enter_context(folder_in_use(folder))
        records = Records.open(settings.records_address)
        stack.callback(records.close)
        readings = open_readings_to_run(settings, self.clock)
        stack.callback(readings.close)
        parts = Parts(settings, self.clock, records, readings, Hub())
        parts.sharing = join(records, settings, takes_in=self._takes_in)
        if parts.sharing is not None:
            stack.callback(parts.sharing.stop)
        if settings.role in ("all", "judge"):
            self._add_judging(parts)
        if settings.several:
            self._add_what_others_did(parts)
        parts.rounds = rounds_of(parts)
        if self._takes_in:
            parts.statuses = Statuses(records)
            stack.callback(parts.statuses.close)
            parts.recorder = Recorder(readings, EntryKeeper(records))
            stack.callback(parts.recorder.close)
            parts.mapped = MappedTopics(records)
            parts.recorder.mappings = parts.mapped.mappings
        listen(parts)
        await self._open_doors(stack, parts, folder)
        start_key = self._start_key(records)
        server = await self._open_pages(stack, parts, start_key)
        if parts.courier is not None:
            parts.courier.start()
            stack.callback(parts.courier.stop)
        scheduler = schedule(parts)  # its jobs may need the loop to come to an end
        stack.push_async_callback(asyncio.to_thread, scheduler.shutdown)
        door = next((way for way in parts.ways if isinstance(way, Door)), None)
        return ServiceInfo(
            data=folder.resolve(),
            web_url=settings.web_origin or f"http://{settings.web_host}:{server.port}",
            door_host=settings.door_host,
            door_port=door.port if door else None,
            door_tls_port=door.tls_port if door else None,
            door_user=HOUSEHOLD,
            door_password=parts.users.shown if parts.users else "",
            first_start=self._has_pages and not records.people(),
            start_key=start_key,
            pages=self._has_pages,
        )

    @property
    def _takes_in(self) -> bool:
        return self.settings.role in ("all", "ingest")

    @property
    def _has_pages(self) -> bool:
        return self.settings.role in ("all", "web")

    def _add_judging(self, parts: Parts) -> None:
        """Make the courier and the judge, filled from what is stored."""
        settings = self.settings
        sharing = parts.sharing if settings.several else None
        quiet, people = QuietHours.of(settings.quiet_hours), RouteChannels(parts.records, settings)
        channels = channels_from(settings)
        parts.courier = Courier(parts.records, channels, self.clock, sharing, quiet, people)
        parts.watch = Watch(
            parts.records,
            parts.readings,
            self.clock,
            tick_s=settings.tick_s,
            channels=parts.courier.channel_names,
            units=units_named(settings.units),
            sharing=sharing,
        )
        parts.watch.start()

    def _add_what_others_did(self, parts: Parts) -> None:
        """Make what lets the page show bins that another process judges."""
        units = units_named(self.settings.units)
        parts.states = StoredStates(parts.records, parts.readings, self.clock, units)
        if self._has_pages:
            hub = parts.hub
            parts.tail = Tail(
                parts.records, parts.readings, self.clock, hub.publish, lambda: hub.open_streams
            )

    async def _open_pages(
        self, stack: contextlib.AsyncExitStack, parts: Parts, start_key: str
    ) -> Server:
        """Serve the pages, or where there are none what says how this worker is doing."""
        settings = self.settings
        assert parts.judged is not None, "a role without a judge comes with the states of others"
        context = Context(
            settings,
            self.clock,
            parts.records,
            parts.readings,
            parts.recorder,
            parts.judged,
            parts.hub,
            health_of(parts),
            {"door" if isinstance(way, Door) else "broker": way.counts for way in parts.ways},
            self._ear(stack),
            start_key,
            partial(hint_of, settings=settings),
            PushKeys(parts.records).public,
            parts.wake_courier,
        )
        app = make_app(context, pages=self._has_pages, taps=parts.tail is None)
        server = Server(app, settings.web_host, settings.web_port, settings.web_proxies)
        await server.start()
        stack.push_async_callback(server.stop)
        return server

    def _ear(self, stack: contextlib.AsyncExitStack) -> Ear | None:
        """Return what listens at the broker for whoever looks at the pages."""
        if not self._has_pages:
            return None
        ear = Ear(broker_place(self.settings) if self.settings.broker_host else None, self.clock)
        stack.callback(ear.stop)
        return ear

    def _start_key(self, records: Records) -> str:
        """Return the word that the first-start page asks for where strangers may open it."""
        here_only = self.settings.web_host in LOOPBACK and not self.settings.web_origin
        if not self._has_pages or records.people() or here_only:
            return ""
        return secrets.token_urlsafe(START_KEY_BYTES)

    async def _open_doors(
        self, stack: contextlib.AsyncExitStack, parts: Parts, folder: Path
    ) -> None:
        """Open the ways in that role and settings ask for; verdicts go out by them."""
        settings, recorder = self.settings, parts.recorder
        if recorder is not None and (settings.door or not settings.several):
            parts.users = DoorUsers(parts.records, folder)
        if recorder is not None and parts.users is not None and settings.door:
            parts.ways.append(
                Door(
                    recorder,
                    parts.users.grants(recorder.mappings),
                    host=settings.door_host,
                    port=settings.door_port,
                    tls_port=settings.door_tls_port,
                    tls=door_tls(settings),
                    clock=self.clock,
                )
            )
        if settings.broker_host and (recorder is not None or parts.watch is not None):
            parts.ways.append(self._broker_client(stack, parts))
        for way in parts.ways:
            await way.start()
            stack.push_async_callback(way.stop)

    def _broker_client(self, stack: contextlib.AsyncExitStack, parts: Parts) -> BrokerClient:
        """Return the way to the broker: alone, or as one of several that share its messages."""
        settings, recorder, sharing = self.settings, parts.recorder, parts.sharing
        mapped = parts.mapped

        def client_at(place: BrokerPlace) -> BrokerClient:
            client = BrokerClient(recorder or NoIntake(), place, clock=self.clock)
            if mapped is not None:
                client.ask_for(mapped.mappings.filters, mapped.given_up)
            return client

        if not settings.several or sharing is None:
            return client_at(broker_place(settings))
        if recorder is not None:

            def stand_in(worker: str) -> BrokerClient:
                return client_at(shared_place(settings, worker, reads=True, stands_in=True))

            loop = asyncio.get_running_loop()
            parts.adoption = Adoption(parts.records, sharing, stand_in, loop)
            stack.push_async_callback(parts.adoption.stop)
        place = shared_place(settings, sharing.worker, reads=recorder is not None)
        return client_at(place)
