"""The parts of a running service, which a role has some of: who tells whom, what runs how often.

`service.py` makes them in order; here is what ties them together once they are there: listeners,
regular jobs, looks at their health, and what goes out over MQTT.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC
from functools import partial
from typing import Final

import structlog
from apscheduler.schedulers.background import BackgroundScheduler
from sqlalchemy.exc import OperationalError

from underlid.alerts.show import alert_as_json
from underlid.clock import Clock
from underlid.config import Settings
from underlid.mqtt.adoption import LOOK_EVERY_S as ADOPT_EVERY_S
from underlid.mqtt.adoption import Adoption
from underlid.mqtt.broker import BrokerClient
from underlid.mqtt.door import Door
from underlid.mqtt.outward import alert_topic, payload_of, state_topic
from underlid.mqtt.users import DoorUsers
from underlid.notify.outbox import Courier
from underlid.pipeline import Judgement
from underlid.storage.protocols import ReadingStore
from underlid.storage.recorder import Recorder
from underlid.storage.records import Records
from underlid.storage.trouble import StoreError
from underlid.timeline import rfc3339
from underlid.watch import Watch
from underlid.web.live import Hub
from underlid.workers.sharing import SHED, Sharing
from underlid.workers.states import StoredStates
from underlid.workers.statuses import WRITE_EVERY_S, Statuses
from underlid.workers.tail import LOOK_EVERY_S, Tail

log = structlog.get_logger(__name__)

PACK_EVERY_S: Final = 3600.0
USERS_EVERY_S: Final = 5.0
LAG_TICKS: Final = 5.0
"""Ticks without a judgement after which the service says that it is not ready."""

STALE_S: Final = 900.0
"""Seconds after which a page says that nobody judges: bins are judged every five minutes."""


@dataclass(slots=True)
class Parts:
    """What this process has; None for what its role does without."""

    settings: Settings
    clock: Clock
    records: Records
    readings: ReadingStore
    hub: Hub
    sharing: Sharing | None = None
    recorder: Recorder | None = None
    users: DoorUsers | None = None
    statuses: Statuses | None = None
    watch: Watch | None = None
    courier: Courier | None = None
    states: StoredStates | None = None
    tail: Tail | None = None
    adoption: Adoption | None = None
    ways: list[Door | BrokerClient] = field(default_factory=list)
    """The ways in, by which verdicts go out as well."""


def listen(parts: Parts) -> None:
    """Tell the parts that live on committed readings and on judgements."""
    watch, courier, recorder = parts.watch, parts.courier, parts.recorder
    if recorder is not None and watch is not None and not parts.settings.several:
        recorder.listen(watch.take)
    if recorder is not None and parts.statuses is not None:
        recorder.listen(parts.statuses.take)

    def judged(judgement: Judgement) -> None:
        if parts.tail is None:
            parts.hub.publish({"kind": "judged", "bin": judgement.bin})
        if judgement.messages and courier is not None:
            courier.wake()

    if watch is not None:
        watch.listen(judged)
        watch.listen(partial(publish_outward, watch=watch, ways=parts.ways))


def schedule(parts: Parts) -> BackgroundScheduler:
    """Set the regular jobs going: judge, pack, look for new users, follow other processes."""
    scheduler = BackgroundScheduler(
        timezone=UTC, job_defaults={"coalesce": True, "max_instances": 1}
    )
    speed = parts.clock.speed
    if parts.watch is not None:
        seconds = parts.settings.tick_s / speed
        scheduler.add_job(patient("judging", parts.watch.tick), "interval", seconds=seconds)
    if parts.recorder is not None:
        scheduler.add_job(
            lambda: parts.readings.pack(parts.clock.now_ms()),
            "interval",
            seconds=max(1.0, PACK_EVERY_S / speed),
        )
    if parts.statuses is not None:
        write = patient("writing down what probes say of themselves", parts.statuses.write)
        scheduler.add_job(write, "interval", seconds=WRITE_EVERY_S)
    if parts.tail is not None:
        look = patient("following other workers", parts.tail.look)
        scheduler.add_job(look, "interval", seconds=LOOK_EVERY_S)
    if parts.adoption is not None:
        adopt = patient("looking for workers that are gone", parts.adoption.look)
        scheduler.add_job(adopt, "interval", seconds=ADOPT_EVERY_S)
    doors = [way for way in parts.ways if isinstance(way, Door)]
    if parts.users is not None and doors:
        job = partial(_take_over_users, parts.users, doors, asyncio.get_running_loop())
        scheduler.add_job(job, "interval", seconds=USERS_EVERY_S)
    scheduler.start()
    return scheduler


def patient(what: str, work: Callable[[], object]) -> Callable[[], None]:
    """Return *work* as a job that will come again: a store that is away is told once, in a line.

    What comes every second or two must not fill the log while a database is restarted.
    """
    told = ""

    def job() -> None:
        nonlocal told
        try:
            work()
        except (StoreError, OperationalError) as away:
            said = str(getattr(away, "orig", None) or away).partition("\n")[0]
            if said != told:
                log.warning(f"{what} waits", said=said)
            told = said
        else:
            if told:
                log.info(f"{what} goes on")
            told = ""

    return job


def _take_over_users(users: DoorUsers, doors: list[Door], loop: asyncio.AbstractEventLoop) -> None:
    grants = users.changed()
    if grants is not None:
        for door in doors:
            loop.call_soon_threadsafe(door.set_grants, grants)


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


def health_of(parts: Parts) -> dict[str, Callable[[], str | None]]:
    """Return a look at each part: None when it is well, else a sentence."""
    health: dict[str, Callable[[], str | None]] = {}
    if parts.settings.readings_store != "sqlite":
        health["readings"] = lambda: parts.readings.backlog().trouble
    if parts.courier is not None:
        for name in parts.courier.channel_names:
            health[f"channel {name}"] = partial(parts.courier.trouble, name)
    if parts.watch is not None:
        health["judgement"] = partial(_late, parts.watch, parts.settings.tick_s)
    if parts.sharing is not None:
        health["leases"] = parts.sharing.trouble
    if parts.tail is not None and parts.states is not None:
        health["judges"] = partial(_nobody_judges, parts.records, parts.states)
    for way in parts.ways:
        if isinstance(way, BrokerClient):
            health["broker"] = partial(_not_connected, way)
    return health


def _late(watch: Watch, tick_s: float) -> str | None:
    """Return a sentence when nothing has been judged for too long."""
    if watch.lag_s() < max(60.0, LAG_TICKS * tick_s):
        return None
    return f"nothing has been judged for {watch.lag_s():.0f} s; see the log"


def _nobody_judges(records: Records, states: StoredStates) -> str | None:
    """Return a sentence when sheds are held by no worker, or nothing was judged for long."""
    try:
        sheds = {one.shed for one in records.setup().bins.values()}
        alone = sheds - records.holders(SHED).keys()
        lag_s = states.lag_s()
    except Exception as error:  # the records may be away; that is what is to be told
        return f"the records cannot be read ({type(error).__name__})"
    if alone:
        return f"no worker judges {len(alone)} of {len(sheds)} sheds"
    return f"nothing has been judged for {lag_s:.0f} s" if sheds and lag_s > STALE_S else None


def _not_connected(way: BrokerClient) -> str | None:
    return None if way.connected.is_set() else "the broker is not connected"
