"""Listens at a broker for a short while, so that a keeper sees what other firmware sends there.

A line of its own beside the service's, under another name, without a session: nothing is stored,
nothing is acknowledged for the service, and it ends by itself. One at a time.
"""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass
from typing import Any, Final
from uuid import uuid4

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from underlid.clock import Clock, monotonic_s
from underlid.errors import UnderlidError
from underlid.mqtt.broker import BrokerPlace, broker_tls
from underlid.mqtt.decoding import PACKET_BYTES_MAX
from underlid.readings.mapping import EXAMPLE_MOST_BYTES, FILTER_MOST_CHARS
from underlid.readings.topic_filter import is_filter

LISTEN_S: Final = 60.0
"""Firmware that sends every minute is heard once; whatever a broker has kept comes at once."""

KEPT_MOST: Final = 20
HEARD_MOST: Final = 5000
"""Then it ends: a busy broker must not keep a small computer at work for a look."""

TOPIC_MOST_CHARS: Final = 800


@dataclass(frozen=True, slots=True)
class Heard:
    """One message as it came, cut to a bearable length."""

    number: int
    topic: str
    payload: bytes
    size_bytes: int
    retained: bool
    at_ms: int


@dataclass(frozen=True, slots=True)
class Listening:
    """How far a listening has come: what was asked, how long it goes on, what went wrong."""

    topic_filter: str = ""
    left_s: float = 0.0
    count: int = 0
    trouble: str = ""
    messages: tuple[Heard, ...] = ()
    """The newest first."""


class Ear:
    """Listens at the broker of the settings, one filter at a time. All calls are from any thread."""

    def __init__(self, place: BrokerPlace | None, clock: Clock) -> None:
        self._place = place
        self._now_ms = clock.now_ms
        self._lock = threading.Lock()
        self._client: Client | None = None
        self._timer: threading.Timer | None = None
        self._filter = ""
        self._until_s = 0.0
        self._count = 0
        self._trouble = ""
        self._kept: deque[Heard] = deque(maxlen=KEPT_MOST)

    @property
    def has_broker(self) -> bool:
        """Tell whether there is a broker to listen at."""
        return self._place is not None

    def listen(self, topic_filter: str, seconds: float = LISTEN_S) -> None:
        """Begin to listen, which ends an earlier listening; returns at once."""
        place = self._place
        if place is None:
            raise UnderlidError(
                "setting broker_host",
                value="",
                expected="a broker to listen at",
                next_step="Set one, or paste a message of the firmware by hand.",
            )
        known = len(topic_filter) <= FILTER_MOST_CHARS and is_filter(topic_filter)
        if not known or topic_filter.startswith("$"):
            raise UnderlidError(
                "topic filter",
                value=topic_filter,
                expected="a topic in which + stands for one level and # for all at the end",
                next_step="Write # to hear everything.",
            )
        self.stop()
        client = self._make_client(place, topic_filter)
        with self._lock:
            self._filter, self._until_s = topic_filter, monotonic_s() + seconds
            self._count, self._trouble = 0, ""
            self._kept.clear()
            self._client = client
            self._timer = threading.Timer(seconds, self._end, (client,))
            self._timer.daemon = True
            self._timer.start()
        try:
            client.connect_async(place.host, place.port, properties=_bounds(place))
            client.loop_start()
        except (OSError, ValueError) as error:
            self._failed(client, str(error))

    def heard(self) -> Listening:
        """Return what has been heard so far."""
        with self._lock:
            left_s = max(0.0, self._until_s - monotonic_s()) if self._client is not None else 0.0
            newest_first = tuple(reversed(self._kept))
            return Listening(self._filter, left_s, self._count, self._trouble, newest_first)

    def stop(self) -> None:
        """End the listening; what was heard stays to be looked at."""
        with self._lock:
            client, timer = self._client, self._timer
        if timer is not None:
            timer.cancel()
        if client is not None:
            self._end(client)

    def _make_client(self, place: BrokerPlace, topic_filter: str) -> Client:
        version_5 = place.protocol == "5"
        client = Client(
            CallbackAPIVersion.VERSION2,
            f"{place.client_id}-ear-{uuid4().hex[:8]}",
            clean_session=None if version_5 else True,
            protocol=MQTTProtocolVersion.MQTTv5 if version_5 else MQTTProtocolVersion.MQTTv311,
        )
        if place.user:
            client.username_pw_set(place.user, place.password)
        if place.tls:
            client.tls_set_context(broker_tls(place.tls_ca))

        def connected(
            _client: Client, _data: Any, _flags: ConnectFlags, code: ReasonCode, _more: Any
        ) -> None:
            if code.is_failure:
                self._failed(client, str(code))
            else:
                client.subscribe(topic_filter, 0)

        def subscribed(
            _client: Client, _data: Any, _mid: int, codes: list[ReasonCode], _more: Any
        ) -> None:
            if any(code.is_failure for code in codes):
                self._failed(client, f"the broker does not let us read {topic_filter}")

        def lost(
            _client: Client, _data: Any, _flags: DisconnectFlags, code: ReasonCode, _more: Any
        ) -> None:
            if code.is_failure:
                self._failed(client, str(code))

        client.on_connect, client.on_subscribe, client.on_disconnect = connected, subscribed, lost
        client.on_connect_fail = lambda _client, _data: self._failed(client, "it does not answer")
        client.on_message = lambda _client, _data, message: self._take(client, message)
        return client

    def _take(self, client: Client, message: MQTTMessage) -> None:
        try:
            topic = message.topic[:TOPIC_MOST_CHARS]
        except UnicodeDecodeError:
            return
        whole = bytes(message.payload)
        with self._lock:
            if client is not self._client or monotonic_s() > self._until_s:
                return
            self._count += 1
            one = Heard(
                self._count,
                topic,
                whole[:EXAMPLE_MOST_BYTES],
                len(whole),
                bool(message.retain),
                self._now_ms(),
            )
            self._kept.append(one)
            enough = self._count >= HEARD_MOST
        if enough:
            self._end(client)

    def _failed(self, client: Client, trouble: str) -> None:
        with self._lock:
            if client is self._client:
                self._trouble = trouble
        self._end(client)

    def _end(self, client: Client) -> None:
        """Leave; called by its own thread, too, which then cannot be waited for."""
        with self._lock:
            if client is self._client:
                self._client = None
        client.disconnect()
        threading.Thread(target=client.loop_stop, name="ear", daemon=True).start()


def _bounds(place: BrokerPlace) -> Properties | None:
    """Return how long a packet we take, where the broker can be told; MQTT 3.1.1 has no word for it."""
    if place.protocol != "5":
        return None
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho
    properties.MaximumPacketSize = PACKET_BYTES_MAX
    return properties
