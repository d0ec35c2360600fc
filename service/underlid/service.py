"""The composition root: every part is made here, given what it needs, started and stopped in order.

Start: stores, judge filled from them, writer thread, then the doors and the page; so nothing is
acknowledged before there is a place for it. Stop: the other way round.
"""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import signal
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC
from functools import partial
from pathlib import Path
from typing import Final

import structlog
from apscheduler.schedulers.background import BackgroundScheduler

from underlid.alerts.show import alert_as_json
from underlid.clock import Clock, SystemClock
from underlid.config import Settings
from underlid.journal.units import SI, US
from underlid.mqtt.broker import BrokerClient
from underlid.mqtt.door import Door
from underlid.mqtt.grants import HOUSEHOLD
from underlid.mqtt.outward import alert_topic, payload_of, state_topic
from underlid.mqtt.places import broker_place, door_tls
from underlid.mqtt.users import DoorUsers
from underlid.notify.channels import channels_from
from underlid.notify.outbox import Courier
from underlid.pipeline import Judgement
from underlid.readings.values import Admitted
from underlid.storage.entry_keeper import EntryKeeper
from underlid.storage.folder import folder_in_use, prepare_folder
from underlid.storage.recorder import Recorder
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import rfc3339
from underlid.watch import Watch
from underlid.web.app import make_app
from underlid.web.context import Context
from underlid.web.live import Hub
from underlid.web.server import Server

log = structlog.get_logger(__name__)

LOOPBACK: Final = ("127.0.0.1", "::1", "localhost")
START_KEY_BYTES: Final = 9
"""72 bits, for one use while the keeper stands by; short enough to type."""

PACK_EVERY_S: Final = 3600.0
USERS_EVERY_S: Final = 5.0
LAG_TICKS: Final = 5.0
"""Ticks without a judgement after which the service says that it is not ready."""


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
    """One process that does everything."""

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
        """Start every part; *stack* stops them in the reverse order."""
        settings, clock = self.settings, self.clock
        folder = prepare_folder(settings.data)
        stack.enter_context(folder_in_use(folder))
        records = Records.open(settings.records_address)
        stack.callback(records.close)
        readings = SqliteReadings(settings.readings_path, settings.raw_days, settings.hourly_days)
        stack.callback(readings.close)
        courier = Courier(records, channels_from(settings), clock)
        watch = Watch(
            records,
            readings,
            clock,
            tick_s=settings.tick_s,
            channels=courier.channel_names,
            units=US if settings.units == "us" else SI,
        )
        watch.start()
        recorder = Recorder(readings, EntryKeeper(records))
        stack.callback(recorder.close)
        hub = Hub()
        self._listen(recorder, watch, records, hub, courier)
        users = DoorUsers(records, folder)
        ways_in = await self._open_doors(stack, recorder, watch, users)
        health = self._health(watch, courier, ways_in)
        start_key = self._start_key(records)
        context = Context(
            settings, clock, records, readings, recorder, watch, hub, health, start_key
        )
        server = Server(
            make_app(context), settings.web_host, settings.web_port, settings.web_proxies
        )
        await server.start()
        stack.push_async_callback(server.stop)
        courier.start()
        stack.callback(courier.stop)
        scheduler = self._schedule(watch, readings, users, ways_in)
        stack.callback(scheduler.shutdown)
        door = next((way for way in ways_in if isinstance(way, Door)), None)
        return ServiceInfo(
            data=folder.resolve(),
            web_url=settings.web_origin or f"http://{settings.web_host}:{server.port}",
            door_host=settings.door_host,
            door_port=door.port if door else None,
            door_tls_port=door.tls_port if door else None,
            door_user=HOUSEHOLD,
            door_password=users.shown,
            first_start=not records.people(),
            start_key=start_key,
        )

    def _start_key(self, records: Records) -> str:
        """Return the word that the first-start page asks for where strangers may open it."""
        here_only = self.settings.web_host in LOOPBACK and not self.settings.web_origin
        if records.people() or here_only:
            return ""
        return secrets.token_urlsafe(START_KEY_BYTES)

    def _health(
        self, watch: Watch, courier: Courier, ways_in: list[Door | BrokerClient]
    ) -> dict[str, Callable[[], str | None]]:
        """Return a look at each part: None when it is well, else a sentence."""

        def broker(way: BrokerClient) -> str | None:
            return None if way.connected.is_set() else "the broker is not connected"

        health: dict[str, Callable[[], str | None]] = {
            f"channel {name}": partial(courier.trouble, name) for name in courier.channel_names
        }
        health["judgement"] = partial(_late, watch, self.settings.tick_s)
        for way in ways_in:
            if isinstance(way, BrokerClient):
                health["broker"] = partial(broker, way)
        return health

    async def _open_doors(
        self,
        stack: contextlib.AsyncExitStack,
        recorder: Recorder,
        watch: Watch,
        users: DoorUsers,
    ) -> list[Door | BrokerClient]:
        """Open the ways in that the settings ask for, and let verdicts out by them."""
        settings = self.settings
        ways_in: list[Door | BrokerClient] = []
        if settings.door:
            ways_in.append(
                Door(
                    recorder,
                    users.grants(),
                    host=settings.door_host,
                    port=settings.door_port,
                    tls_port=settings.door_tls_port,
                    tls=door_tls(settings),
                    clock=self.clock,
                )
            )
        if settings.broker_host:
            ways_in.append(BrokerClient(recorder, broker_place(settings), clock=self.clock))
        for way in ways_in:
            await way.start()
            stack.push_async_callback(way.stop)
        watch.listen(lambda judgement: publish_outward(judgement, watch, ways_in))
        return ways_in

    @staticmethod
    def _listen(
        recorder: Recorder, watch: Watch, records: Records, hub: Hub, courier: Courier
    ) -> None:
        """Tell the parts that live on committed readings and on judgements."""
        recorder.listen(watch.take)

        def note_statuses(admitted: Admitted) -> None:
            if admitted.statuses:
                records.set_probe_statuses(admitted.statuses)

        recorder.listen(note_statuses)

        def judged(judgement: Judgement) -> None:
            hub.publish({"kind": "judged", "bin": judgement.bin})
            if judgement.messages:
                courier.wake()

        watch.listen(judged)

    def _schedule(
        self,
        watch: Watch,
        readings: SqliteReadings,
        users: DoorUsers,
        ways_in: list[Door | BrokerClient],
    ) -> BackgroundScheduler:
        """Set the regular jobs going: judge, pack, look for new users."""
        scheduler = BackgroundScheduler(
            timezone=UTC, job_defaults={"coalesce": True, "max_instances": 1}
        )
        speed = self.clock.speed
        scheduler.add_job(watch.tick, "interval", seconds=self.settings.tick_s / speed)
        scheduler.add_job(
            lambda: readings.pack(self.clock.now_ms()),
            "interval",
            seconds=max(1.0, PACK_EVERY_S / speed),
        )
        loop = asyncio.get_running_loop()

        def take_over_users() -> None:
            grants = users.changed()
            if grants is None:
                return
            for way in ways_in:
                if isinstance(way, Door):
                    loop.call_soon_threadsafe(way.set_grants, grants)

        scheduler.add_job(take_over_users, "interval", seconds=USERS_EVERY_S)
        scheduler.start()
        return scheduler


def publish_outward(judgement: Judgement, watch: Watch, ways: list[Door | BrokerClient]) -> None:
    """Send a bin's state, and each change of an alert, to whoever listens over MQTT."""
    state = watch.state(judgement.bin)
    if state is None:
        return
    for way in ways:
        way.publish(state_topic(str(state["shed"]), judgement.bin), payload_of(state), retain=True)
        for change in judgement.transitions:
            if change.alert is None:
                continue
            body = {
                "event": change.kind.value,
                "at": rfc3339(change.at_ms),
                "reason": change.reason,
                "alert": alert_as_json(change.alert),
            }
            way.publish(alert_topic(change.alert.shed), payload_of(body))


def _late(watch: Watch, tick_s: float) -> str | None:
    """Return a sentence when nothing has been judged for too long."""
    if watch.lag_s() < max(60.0, LAG_TICKS * tick_s):
        return None
    return f"nothing has been judged for {watch.lag_s():.0f} s; see the log"
