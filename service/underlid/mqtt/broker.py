"""The other way in: messages from somebody's MQTT broker, by paho, acknowledged after the commit.

The session at the broker is persistent and its name fixed, so what arrives while the service is
away waits there; the broker gets its PUBACK only when the message is on disk. A broker may still
lose what it acknowledged to the probe: that is what the confirm topic is for. The threads and
the order of the PUBACKs are in `brokered.py`, which this file drives.
"""

from __future__ import annotations

import asyncio
import ssl
import threading
from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final, Literal

import structlog
from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from underlid.clock import Clock, SystemClock
from underlid.errors import UnderlidError
from underlid.mqtt.brokered import Brokered
from underlid.mqtt.confirm import confirmed, payloads
from underlid.mqtt.counts import Counts
from underlid.mqtt.decoding import PACKET_BYTES_MAX
from underlid.mqtt.intake import Intake, Outcome
from underlid.mqtt.outward import ROOT, confirm_topic
from underlid.readings.values import RawMessage

FILTERS: Final = (
    f"{ROOT}/+/+/senml",
    f"{ROOT}/+/+/json",
    f"{ROOT}/+/+/status",
    f"{ROOT}/+/+/value/+",
    f"{ROOT}/+/entry",
)
"""What probes publish; never our own topics, so that nothing is read back. The filters of mappings are
asked for besides (`ask_for`)."""

KEEP_ALIVE_S: Final = 60
"""Common practice: a dead line is noticed within a minute and a half."""

SESSION_KEPT_S: Final = 30 * 24 * 3600
"""MQTT 5: how long the broker keeps our session; the shipped mosquitto.conf says the same."""

IN_FLIGHT_MAX: Final = 1000
"""MQTT 5: messages the broker may send ahead of our PUBACKs; as in the shipped mosquitto.conf."""

OUTWARD_MAX: Final = 10_000
"""Alerts that wait for a broker that is away; the newest are left out then, and counted."""

RETRY_FIRST_S: Final = 1
RETRY_LAST_S: Final = 30
"""The first and the longest wait before another try to connect."""

PAYLOAD_KEPT_BYTES: Final = 64 * 1024 + 1
"""One more than a message may have: a longer one is cut here, refused as too large, and shown."""


@dataclass(frozen=True, slots=True)
class BrokerPlace:
    """Where the broker is and how to speak with it; the settings `broker_…`."""

    host: str
    port: int = 1883
    user: str = ""
    password: str = ""
    tls: bool = False
    tls_ca: Path | None = None
    client_id: str = "underlid"
    protocol: Literal["3.1.1", "5"] = "3.1.1"
    share: str = ""
    """MQTT 5: the group of workers that share the messages; empty for none."""
    reads: bool = True
    """False for a worker that only publishes what it judged."""
    stands_in: bool = False
    """True to take in what waits in another worker's session, and to ask for nothing more."""


class BrokerClient:
    """Reads from one broker. Create, `await start()`, `publish(...)`, `await stop()`."""

    def __init__(self, intake: Intake, place: BrokerPlace, *, clock: Clock | None = None) -> None:
        self.counts = Counts()
        self.connected = threading.Event()
        self.subscribed = threading.Event()
        """Set while the broker has agreed to send all that we ask for; at once if that is nothing."""
        self.refused_filters: set[str] = set()
        """Those of mappings that the broker does not let us read."""
        self._wanted: tuple[str, ...] = ()
        self._given_up: tuple[str, ...] = ()
        self._asked: dict[int, tuple[str, ...]] = {}
        self._asking = threading.Lock()
        self._changing = threading.Lock()
        """Held from reading what is wanted until the line counts as connected."""
        self._place = place
        self._now_ms = (clock or SystemClock()).now_ms
        self._retained: dict[str, bytes] = {}
        self._log = structlog.get_logger("underlid.mqtt.broker")
        self._client = self._make_client()
        self._brokered = Brokered(
            intake, self.counts, partial(self._client.ack, qos=1), self._confirm
        )

    async def start(self) -> None:
        """Begin to connect, and keep trying; returns at once."""
        place = self._place
        if place.protocol == "5":
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho
            properties.SessionExpiryInterval = SESSION_KEPT_S
            properties.ReceiveMaximum = IN_FLIGHT_MAX
            properties.MaximumPacketSize = PACKET_BYTES_MAX
            self._client.connect_async(
                place.host, place.port, KEEP_ALIVE_S, clean_start=False, properties=properties
            )
        else:
            self._client.connect_async(place.host, place.port, KEEP_ALIVE_S)
        self._brokered.start()
        self._client.loop_start()

    async def stop(self) -> None:
        """Finish the commits under way, acknowledge them, leave; the session stays."""
        await asyncio.to_thread(self._brokered.stop)
        self._client.disconnect()
        await asyncio.to_thread(self._client.loop_stop)
        self._gone()

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> None:
        """Publish one of the service's own messages; from any thread.

        While the broker is away, alerts wait. States are remembered and all published again at
        the next connect, so they need no QoS 1; sent again by paho an old one would come last.
        """
        if retain:
            self._retained[topic] = payload
            if not self.connected.is_set():
                return
        sent = self._client.publish(topic, payload, qos=0 if retain else 1, retain=retain)
        self._count_sent(sent.rc)

    def ask_for(self, wanted: Iterable[str], given_up: Iterable[str]) -> None:
        """Read what mappings are for from now on, and take back *given_up*; from any thread.

        A broker keeps in a session what it was ever asked for, so that is said at every connect.
        """
        with self._changing:
            before, self._wanted = self._wanted, tuple(wanted)
            self._given_up = tuple(given_up)
            self.refused_filters &= set(self._wanted)
            place = self._place
            if not self.connected.is_set() or place.stands_in or not place.reads:
                return
            self._take_back([one for one in before if one not in self._wanted])
            self._subscribe([one for one in self._wanted if one not in before])

    def _subscribe(self, filters: Iterable[str]) -> None:
        asked = tuple(filters)
        if not asked:
            return
        with self._asking:
            _, message_id = self._client.subscribe([(self._grouped(one), 1) for one in asked])
            if message_id is not None:
                self._asked[message_id] = asked

    def _take_back(self, filters: Iterable[str]) -> None:
        gone = [self._grouped(one) for one in filters]
        if gone:
            self._client.unsubscribe(gone)

    def _grouped(self, topic_filter: str) -> str:
        """Return a filter as one of several workers asks for it."""
        return f"$share/{self._place.share}/{topic_filter}" if self._place.share else topic_filter

    def _make_client(self) -> Client:
        place = self._place
        version_5 = place.protocol == "5"
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=place.client_id,
            clean_session=None if version_5 else False,
            protocol=MQTTProtocolVersion.MQTTv5 if version_5 else MQTTProtocolVersion.MQTTv311,
            manual_ack=True,
        )
        if place.user:
            client.username_pw_set(place.user, place.password)
        if place.tls:
            client.tls_set_context(broker_tls(place.tls_ca))
        client.max_queued_messages_set(OUTWARD_MAX)
        client.reconnect_delay_set(RETRY_FIRST_S, RETRY_LAST_S)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        return client

    def _ask_for_all(self) -> None:
        """Say on a new line what the broker is to send and what not."""
        if self._place.stands_in:
            self._take_back([*FILTERS, *self._wanted, *self._given_up])
        elif self._place.reads:
            self._take_back(self._given_up)
            self._subscribe([*FILTERS, *self._wanted])
        if self._place.stands_in or not self._place.reads:
            self.subscribed.set()

    # -- called by paho, on its thread ----------------------------------------------------

    def _on_connect(
        self, client: Client, _data: Any, flags: ConnectFlags, code: ReasonCode, _more: Any
    ) -> None:
        """Subscribe again at every connect: the broker may have forgotten our session."""
        if code.is_failure:
            self.counts.refused["connect"] += 1
            self._log.warning("broker refused", host=self._place.host, reason=str(code))
            return
        self.counts.connections += 1
        self.counts.open = 1
        with self._asking:
            self._asked.clear()
        with self._changing:
            self._ask_for_all()
            self.connected.set()
        self._log.info(
            "broker connected", host=self._place.host, session_kept=flags.session_present
        )
        for topic, payload in list(self._retained.items()):
            self._count_sent(client.publish(topic, payload, qos=0, retain=True).rc)

    def _on_disconnect(
        self, _client: Client, _data: Any, _flags: DisconnectFlags, code: ReasonCode, _more: Any
    ) -> None:
        """Forget what waits for its PUBACK: the broker will send it again on the next line."""
        self._brokered.line_lost()
        self._gone()
        self._log.info("broker disconnected", host=self._place.host, reason=str(code))

    def _on_subscribe(
        self, _client: Client, _data: Any, mid: int, codes: list[ReasonCode], _more: Any
    ) -> None:
        with self._asking:
            asked = self._asked.pop(mid, ())
        refused = set()
        for topic_filter, code in zip(asked, codes, strict=False):
            if code.is_failure:
                refused.add(topic_filter)
                self.counts.refused["subscribe"] += 1
                self._log.warning("broker refused", filter=topic_filter, reason=str(code))
        self.refused_filters = (self.refused_filters - set(asked)) | (refused - set(FILTERS))
        if FILTERS[0] in asked and refused.isdisjoint(FILTERS):
            self.subscribed.set()

    def _on_message(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = "(not UTF-8)"
        payload = bytes(message.payload)[:PAYLOAD_KEPT_BYTES]
        raw = RawMessage(topic, payload, self._now_ms(), bool(message.retain))
        self._brokered.take(raw, message.mid if message.qos else 0)

    def _gone(self) -> None:
        self.connected.clear()
        self.subscribed.clear()
        self.counts.open = 0

    # -- called by `Brokered`, after the commit -------------------------------------------

    def _confirm(self, outcome: Outcome) -> None:
        if not self.connected.is_set():
            return
        for (shed, probe), ranges in confirmed(outcome.admitted.readings).items():
            for payload in payloads(ranges):
                sent = self._client.publish(confirm_topic(shed, probe), payload, qos=0)
                self._count_sent(sent.rc)

    def _count_sent(self, code: MQTTErrorCode) -> None:
        if code in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN):
            self.counts.sent += 1
        else:
            self.counts.dropped += 1


def broker_tls(authority: Path | None) -> ssl.SSLContext:
    """Return a context that checks the broker's certificate and name."""
    try:
        return ssl.create_default_context(cafile=authority)
    except OSError as error:
        raise UnderlidError(
            "certificate authority of the broker",
            value=str(authority),
            expected="a PEM file with a certificate",
            next_step=f"Correct broker_tls_ca ({error}).",
        ) from error
