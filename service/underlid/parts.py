"""The parts of a running service, which a role has some of, and who tells whom.

`service.py` makes them in order. `jobs.py` lists what runs how often, `health.py` looks at how they are.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial

from underlid.alerts.show import alert_as_json
from underlid.clock import Clock
from underlid.config import Settings
from underlid.journal.units import units_named
from underlid.mqtt.adoption import Adoption
from underlid.mqtt.broker import BrokerClient
from underlid.mqtt.door import Door
from underlid.mqtt.mapped_topics import MappedTopics
from underlid.mqtt.outward import alert_topic, payload_of, state_topic
from underlid.mqtt.users import DoorUsers
from underlid.notify.outbox import Courier
from underlid.notify.rounds import Rounds
from underlid.pipeline import Judgement
from underlid.storage.protocols import ReadingStore
from underlid.storage.recorder import Recorder
from underlid.storage.records import Records
from underlid.timeline import rfc3339
from underlid.watch import Watch
from underlid.web.live import Hub
from underlid.workers.sharing import Sharing
from underlid.workers.states import StoredStates
from underlid.workers.statuses import Statuses
from underlid.workers.tail import Tail


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
    mapped: MappedTopics | None = None
    statuses: Statuses | None = None
    watch: Watch | None = None
    courier: Courier | None = None
    rounds: Rounds | None = None
    states: StoredStates | None = None
    tail: Tail | None = None
    adoption: Adoption | None = None
    ways: list[Door | BrokerClient] = field(default_factory=list)
    """The ways in, by which verdicts go out as well."""

    @property
    def judged(self) -> StoredStates | Watch | None:
        """Return what knows how bins are: what is stored of all, else the judge of this process."""
        return self.states or self.watch

    def wake_courier(self) -> None:
        """Say that something was posted, to the courier of this process if it has one."""
        if self.courier is not None:
            self.courier.wake()


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


def rounds_of(parts: Parts) -> Rounds | None:
    """Return what is told by the clock, where there is a courier."""
    judged, settings = parts.judged, parts.settings
    if parts.courier is None or judged is None:
        return None
    names, units = parts.courier.channel_names, units_named(settings.units)
    every_h, days = settings.repeat_h, settings.look_days
    return Rounds(parts.records, judged.state, parts.clock, names, every_h, units, days)


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
