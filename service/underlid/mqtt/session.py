"""One connection at the door as a pure state machine: bytes in, events out, no I/O, no clock.

`TRANSITIONS` is the whole life of a connection. `connection.py` feeds the bytes and carries the
events out. The answers to CONNECT and SUBSCRIBE are worked out in `welcome.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import Enum
from typing import Final

from underlid.mqtt import welcome
from underlid.mqtt.decoding import PacketReader
from underlid.mqtt.encoding import fitting
from underlid.mqtt.endings import Ending
from underlid.mqtt.events import (
    Arrived,
    Ended,
    Event,
    Opened,
    Refused,
    Send,
    Subscribed,
    Unsubscribed,
)
from underlid.mqtt.grants import Grants
from underlid.mqtt.packets import (
    V5,
    V311,
    Acknowledge,
    Connack,
    Connect,
    Disconnect,
    Kind,
    Malformed,
    Packet,
    Ping,
    Properties,
    Property,
    Publish,
    Reason,
    Subscribe,
    SubscribeAcknowledge,
    Subscription,
    Unsubscribe,
    Will,
    integer_of,
    kind_of,
)
from underlid.readings.values import RawMessage

CONNECT_WITHIN_S: Final = 5.0
"""A connection that has not said CONNECT by then is closed."""

KEEP_ALIVE_FACTOR: Final = 1.5
"""MQTT-3.1.2-24: one and a half times the keep alive without a packet ends a connection."""

TOPICS_ALLOWED_MAX: Final = 256
"""Topics remembered as allowed for a connection; a probe publishes to a handful."""


class State(Enum):
    """Where a connection stands."""

    AWAITING_CONNECT = 1
    SERVING = 2
    CLOSED = 3


TRANSITIONS: Final[dict[tuple[State, Kind], State]] = {
    (State.AWAITING_CONNECT, Kind.CONNECT): State.SERVING,
    (State.SERVING, Kind.PUBLISH): State.SERVING,
    (State.SERVING, Kind.SUBSCRIBE): State.SERVING,
    (State.SERVING, Kind.UNSUBSCRIBE): State.SERVING,
    (State.SERVING, Kind.PINGREQ): State.SERVING,
    (State.SERVING, Kind.DISCONNECT): State.CLOSED,
}
"""What a client may send when. Anything else is a protocol error, and every `Ending` closes."""


class Session:
    """The state of one connection. `new_client_id` names a client that gave no name."""

    def __init__(self, grants: Grants, new_client_id: Callable[[], str]) -> None:
        self.state = State.AWAITING_CONNECT
        self.version = V311
        self.user = ""
        self.client_id = ""
        self.in_flight = 0
        self.packet_bytes_max = welcome.CLIENT_PACKET_BYTES_MAX
        self.subscriptions: dict[str, Subscription] = {}
        self._grants = grants
        self._new_client_id = new_client_id
        self._reader = PacketReader()
        self._allowed: set[str] = set()
        self._will: Will | None = None
        self._keep_alive_s = 0
        self._session_expiry_s = 0
        self._explains = True

    def silence_allowed_s(self) -> float | None:
        """Return how long the client may say nothing, or None for ever."""
        if self.state is State.AWAITING_CONNECT:
            return CONNECT_WITHIN_S
        return self._keep_alive_s * KEEP_ALIVE_FACTOR or None

    def holds_part(self) -> bool:
        """Tell whether half a packet is waiting for its rest."""
        return self._reader.holds_part()

    def acknowledged(self, count: int) -> None:
        """Note that *count* PUBACKs went out."""
        self.in_flight -= count

    def regrant(self, grants: Grants, now_ms: int) -> list[Event]:
        """Take new grants; a client whose secret changed is sent away."""
        before, self._grants = self._grants, grants
        self._allowed.clear()
        if self.state is not State.SERVING or grants.keeps(self.user, before):
            return []
        return self.end(Ending.SECRET_CHANGED, "The secret of this user has changed.", now_ms)

    def receive(self, data: bytes, now_ms: int) -> list[Event]:
        """Return what follows from *data*, in order."""
        events: list[Event] = []
        arrived = Arrived()
        for packet in self._reader.feed(data):
            if type(packet) is Publish and self.state is State.SERVING:
                following = self._publish(packet, now_ms, arrived)
            else:
                following = self._take(packet, now_ms)
            if not following:
                continue
            events, arrived = self._with(events, arrived), Arrived()
            events += following
            if isinstance(events[-1], Ended):
                return events
        return self._with(events, arrived)

    def end(
        self, ending: Ending, sentence: str, now_ms: int, reason: Reason | None = None
    ) -> list[Event]:
        """Close: tell an MQTT 5 client why, hand out the will where the ending says so."""
        if self.state is State.CLOSED:
            return []
        events: list[Event] = []
        code = reason or ending.reason
        if self.state is State.SERVING and self.version == V5 and code is not None:
            events += self._send(Disconnect(code, self._because(sentence, always=True)))
        message = None
        will = self._will if self.state is State.SERVING and ending.publishes_will else None
        if will and self._grants.may_publish(self.user, will.topic, will.payload):
            message = RawMessage(will.topic, will.payload, now_ms)
        self.state = State.CLOSED
        return [*events, Ended(ending, sentence, message)]

    def _with(self, events: list[Event], arrived: Arrived) -> list[Event]:
        if arrived.messages or arrived.acks:
            self.in_flight += len(arrived.acks)
            events.append(arrived)
        return events

    def _publish(self, packet: Publish, now_ms: int, arrived: Arrived) -> Sequence[Event]:
        """Add a message to *arrived*; return what follows when something is wrong with it."""
        topic = packet.topic
        if packet.qos == 2:
            return self.end(Ending.QOS_2, "QoS 2 is not supported, use QoS 1.", now_ms)
        odd = packet.properties or not topic
        if odd and (problem := welcome.publish_problem(packet)) is not None:
            reason, sentence = problem
            return self.end(Ending.PROTOCOL_ERROR, sentence, now_ms, reason)
        in_flight = self.in_flight + len(arrived.acks)
        if self.version == V5 and packet.qos and in_flight >= welcome.RECEIVE_MAXIMUM:
            sentence = f"More than {welcome.RECEIVE_MAXIMUM} messages wait for their PUBACK."
            return self.end(Ending.TOO_MANY_IN_FLIGHT, sentence, now_ms)
        if topic not in self._allowed and not self._allow(topic, packet.payload):
            return self._not_allowed(packet, now_ms, arrived)
        arrived.messages.append(RawMessage(topic, packet.payload, now_ms))
        if packet.qos:
            arrived.acks.append(b"\x40\x02" + packet.packet_id.to_bytes(2, "big"))
        return ()

    def _allow(self, topic: str, payload: bytes) -> bool:
        if not self._grants.may_publish(self.user, topic, payload):
            return False
        if len(self._allowed) >= TOPICS_ALLOWED_MAX:
            self._allowed.clear()
        if self._grants.by_topic(topic):
            self._allowed.add(topic)
        return True

    def _not_allowed(self, packet: Publish, now_ms: int, arrived: Arrived) -> list[Event]:
        """Refuse with a code where MQTT 5 has one; 3.1.1 can only close (MQTT-3.3.5-2)."""
        sentence = f"User {self.user!r} may not publish to {packet.topic[:80]!r}."
        if self.version != V5:
            return self.end(Ending.NOT_AUTHORISED, sentence, now_ms)
        if packet.qos:
            answer = Acknowledge(
                Kind.PUBACK, packet.packet_id, Reason.NOT_AUTHORISED, self._because(sentence)
            )
            arrived.acks.append(fitting(answer, self.version, self.packet_bytes_max) or b"")
        return [Refused(Ending.NOT_AUTHORISED.label)]

    def _take(self, packet: Packet | Malformed, now_ms: int) -> list[Event]:
        """Handle any packet but a PUBLISH that is welcome."""
        if isinstance(packet, Malformed):
            return self._malformed(packet, now_ms)
        kind = kind_of(packet)
        if (self.state, kind) not in TRANSITIONS:
            return self.end(Ending.PROTOCOL_ERROR, f"A {kind.name} is not expected here.", now_ms)
        if isinstance(packet, Connect):
            return self._connect(packet, now_ms)
        if isinstance(packet, Subscribe):
            return self._subscribe(packet, now_ms)
        if isinstance(packet, Unsubscribe):
            return self._unsubscribe(packet)
        if isinstance(packet, Disconnect):
            return self._disconnect(packet, now_ms)
        return self._send(Ping(Kind.PINGRESP))

    def _malformed(self, problem: Malformed, now_ms: int) -> list[Event]:
        if self.state is State.AWAITING_CONNECT and problem.reason is Reason.UNSUPPORTED_VERSION:
            answer = Connack(welcome.return_code(problem.reason))
            ended = self.end(Ending.CONNECT_REFUSED, problem.sentence, now_ms)
            return [*self._send(answer), *ended]
        return self.end(Ending.MALFORMED, problem.sentence, now_ms, problem.reason)

    def _connect(self, packet: Connect, now_ms: int) -> list[Event]:
        self.version = packet.version
        maximum = integer_of(
            packet.properties, Property.MAXIMUM_PACKET_BYTES, welcome.CLIENT_PACKET_BYTES_MAX
        )
        self.packet_bytes_max = min(maximum, welcome.CLIENT_PACKET_BYTES_MAX)
        asked = integer_of(packet.properties, Property.REQUEST_PROBLEM_INFORMATION, 1)
        self._explains = asked == 1
        if (refusal := welcome.connect_problem(packet, self._grants)) is not None:
            reason, sentence = refusal
            code = reason if packet.version == V5 else welcome.return_code(reason)
            answer = self._send(Connack(code, False, self._because(sentence, always=True)))
            return answer + self.end(Ending.CONNECT_REFUSED, sentence, now_ms)
        self.client_id = packet.client_id or self._new_client_id()
        self.user = packet.user or ""
        self._will = packet.will
        self._keep_alive_s = packet.keep_alive_s
        self._session_expiry_s = integer_of(packet.properties, Property.SESSION_EXPIRY_S, 0)
        self.state = State.SERVING
        properties: Properties = ()
        if self.version == V5:
            properties = welcome.announcements("" if packet.client_id else self.client_id)
        return [Opened((self.user, self.client_id)), *self._send(Connack(0, False, properties))]

    def _subscribe(self, packet: Subscribe, now_ms: int) -> list[Event]:
        if integer_of(packet.properties, Property.SUBSCRIPTION_ID, 0):
            sentence = "Subscription identifiers are not supported."
            reason = Reason.SUBSCRIPTION_IDS_NOT_SUPPORTED
            return self.end(Ending.PROTOCOL_ERROR, sentence, now_ms, reason)
        granted: list[str] = []
        retained: list[str] = []
        codes: list[int] = []
        for one in packet.subscriptions:
            code = welcome.subscribe_code(self.user, one, self._grants, len(self.subscriptions))
            codes.append(code if self.version == V5 else min(code, Reason.UNSPECIFIED))
            if code:
                continue
            known = one.topic_filter in self.subscriptions
            self.subscriptions[one.topic_filter] = one
            granted.append(one.topic_filter)
            if one.retain_handling == 0 or (one.retain_handling == 1 and not known):
                retained.append(one.topic_filter)
        answer = SubscribeAcknowledge(Kind.SUBACK, packet.packet_id, tuple(codes))
        refused: list[Event] = [Refused("not_served") for code in codes if code]
        return [*self._send(answer), Subscribed(tuple(granted), tuple(retained)), *refused]

    def _unsubscribe(self, packet: Unsubscribe) -> list[Event]:
        given_up = [one for one in packet.topic_filters if self.subscriptions.pop(one, None)]
        codes: tuple[int, ...] = ()
        if self.version == V5:
            none = Reason.NO_SUBSCRIPTION_EXISTED
            codes = tuple(0 if one in given_up else none for one in packet.topic_filters)
        answer = SubscribeAcknowledge(Kind.UNSUBACK, packet.packet_id, codes)
        return [Unsubscribed(tuple(given_up)), *self._send(answer)]

    def _disconnect(self, packet: Disconnect, now_ms: int) -> list[Event]:
        expiry_s = integer_of(packet.properties, Property.SESSION_EXPIRY_S, 0)
        if expiry_s and not self._session_expiry_s:
            sentence = "A DISCONNECT asks for a session that CONNECT did not."
            return self.end(Ending.PROTOCOL_ERROR, sentence, now_ms)
        ending = Ending.LEFT_WITH_WILL if packet.code else Ending.LEFT
        return self.end(ending, "The client disconnected.", now_ms)

    def _because(self, sentence: str, *, always: bool = False) -> Properties:
        """Return *sentence* as a reason string where the client may be told."""
        if self.version != V5 or not (self._explains or always):
            return ()
        return ((Property.REASON_STRING, sentence),)

    def _send(self, packet: Packet) -> list[Event]:
        data = fitting(packet, self.version, self.packet_bytes_max)
        return [] if data is None else [Send(data)]
