"""What a running service does how often: judge, pack, look for new users, follow other processes."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from datetime import UTC
from functools import partial
from typing import Final

import structlog
from apscheduler.schedulers.background import BackgroundScheduler
from sqlalchemy.exc import OperationalError

from underlid.mqtt.adoption import LOOK_EVERY_S as ADOPT_EVERY_S
from underlid.mqtt.broker import BrokerClient
from underlid.mqtt.door import Door
from underlid.mqtt.mapped_topics import MappedTopics
from underlid.notify.outbox import SENT_KEPT_MS, Courier
from underlid.notify.rounds import Rounds
from underlid.parts import Parts
from underlid.storage.trouble import StoreError
from underlid.workers.statuses import WRITE_EVERY_S
from underlid.workers.tail import LOOK_EVERY_S

log = structlog.get_logger(__name__)

PACK_EVERY_S: Final = 3600.0
USERS_EVERY_S: Final = 5.0
ROUND_EVERY_S: Final = 60.0
FORGET_EVERY_S: Final = 86_400.0


def schedule(parts: Parts) -> BackgroundScheduler:
    """Set the regular jobs going."""
    scheduler = BackgroundScheduler(
        timezone=UTC, job_defaults={"coalesce": True, "max_instances": 1}
    )
    speed = parts.clock.speed
    if parts.watch is not None:
        seconds = parts.settings.tick_s / speed
        scheduler.add_job(patient("judging", parts.watch.tick), "interval", seconds=seconds)
    if parts.rounds is not None and parts.courier is not None:
        go = patient("telling by the clock", partial(_go_round, parts.rounds, parts.courier))
        seconds = max(1.0, ROUND_EVERY_S / speed)
        scheduler.add_job(go, "interval", seconds=seconds)
    if parts.courier is not None:
        forget = patient("forgetting what was told long ago", partial(forget_told, parts))
        scheduler.add_job(forget, "interval", seconds=max(1.0, FORGET_EVERY_S / speed))
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
    if parts.mapped is not None:
        job = partial(take_over_users, parts, parts.mapped, asyncio.get_running_loop())
        take_over = patient("looking for new users and mappings", job)
        scheduler.add_job(take_over, "interval", seconds=USERS_EVERY_S)
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


def _go_round(rounds: Rounds, courier: Courier) -> None:
    """Post what is due by the clock, and have it delivered."""
    if rounds.go():
        courier.wake()


def forget_told(parts: Parts) -> None:
    """Delete from the outbox what was told long ago: a service may run for years."""
    parts.records.forget_sent(parts.clock.now_ms() - SENT_KEPT_MS)


def take_over_users(parts: Parts, mapped: MappedTopics, loop: asyncio.AbstractEventLoop) -> None:
    """Tell the ways in of users and mappings that are new: the door first who may send what."""
    mapped.look()
    new_users = parts.users is not None and parts.users.changed()
    recorder, mappings = parts.recorder, mapped.mappings
    new_mappings = recorder is not None and recorder.mappings is not mappings
    grants = None
    if parts.users is not None and (new_mappings or new_users):
        grants = parts.users.grants(mappings)

    def take_over() -> None:
        """Run on the door's own thread, so that nothing comes in between."""
        for way in parts.ways:
            if isinstance(way, Door) and grants is not None:
                way.set_grants(grants)
        if recorder is not None and new_mappings:
            recorder.mappings = mappings
            for way in parts.ways:
                if isinstance(way, BrokerClient):
                    way.ask_for(mappings.filters, mapped.given_up)

    if grants is not None or new_mappings:
        loop.call_soon_threadsafe(take_over)
