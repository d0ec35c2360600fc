"""Bytes to packets, total: every byte string gives packets, or packets and one `Malformed`.

`PacketReader` cuts a stream into packets and reads PUBLISH itself, since nearly every packet is
one; all other kinds are read by the functions below it. Nothing here decides whether a packet
is welcome: that is `session.py`. The opposite direction is `encoding.py`.
"""

from __future__ import annotations

from typing import Final

from underlid.mqtt.fields import Cursor, MalformedError, text_from
from underlid.mqtt.packets import (
    V5,
    V311,
    Acknowledge,
    Authenticate,
    Connack,
    Connect,
    Disconnect,
    Kind,
    Malformed,
    Packet,
    Ping,
    Properties,
    Publish,
    Reason,
    Subscribe,
    SubscribeAcknowledge,
    Subscription,
    Unsubscribe,
    Will,
)
from underlid.mqtt.properties import WILL, read_properties

PACKET_BYTES_MAX: Final = 66 * 1024
"""A payload of 64 KiB, the most a message may have, with 2 KiB for its topic and properties."""

TOPICS_REMEMBERED: Final = 256
"""Topics a reader keeps decoded; a probe publishes to a handful."""

FILTERS_MAX: Final = 64
"""Topic filters in one SUBSCRIBE; our judgement, a probe needs one."""


class PacketReader:
    """Cuts the bytes of one connection into packets.

    Set by the CONNECT that passes through it: `version`. After a `Malformed` it reads no more.
    """

    def __init__(self, version: int = V311, packet_bytes_max: int = PACKET_BYTES_MAX) -> None:
        self.version = version
        self._packet_bytes_max = packet_bytes_max
        self._rest = bytearray()
        self._needed = 0
        self._broken = False
        self._topics: dict[bytes, str] = {}

    def holds_part(self) -> bool:
        """Tell whether the beginning of a packet is waiting for its end."""
        return bool(self._rest)

    def feed(self, data: bytes) -> list[Packet | Malformed]:
        """Return the packets that *data* completes; a `Malformed` can only be the last."""
        found: list[Packet | Malformed] = []
        if self._broken:
            return found
        if self._rest:
            self._rest += data
            if len(self._rest) < self._needed:
                return found
            data = bytes(self._rest)
            self._rest.clear()
        try:
            used = self._read_all(data, found)
        except MalformedError as error:
            self._broken = True
            found.append(error.value)
            return found
        if used < len(data):
            self._rest += memoryview(data)[used:]
        return found

    def _read_all(self, data: bytes, found: list[Packet | Malformed]) -> int:
        """Append every whole packet of *data* to *found*; return how many bytes they took."""
        position, end = 0, len(data)
        while position + 1 < end:
            first, length, body = data[position], data[position + 1], position + 2
            if length > 0x7F:
                measured = self._long_length(data, position, end)
                if measured is None:
                    self._needed = end - position + 1
                    break
                length, body = measured
            stop = body + length
            if stop > end:
                self._needed = stop - position
                break
            if first >> 4 == Kind.PUBLISH:
                found.append(self._publish(first, data, body, stop))
            else:
                packet = read_packet(first, Cursor(data, body, stop), self.version)
                if type(packet) is Connect:
                    self.version = packet.version
                found.append(packet)
            position = stop
        else:
            self._needed = 2
        return position

    def _long_length(self, data: bytes, position: int, end: int) -> tuple[int, int] | None:
        """Return the remaining length and where the body begins, or None for too few bytes."""
        length, shift, at = 0, 0, position + 1
        while at < end:
            byte = data[at]
            length |= (byte & 0x7F) << shift
            at += 1
            if byte < 0x80:
                if byte == 0:
                    sentence = "A remaining length is written longer than needed."
                    raise MalformedError(sentence)
                if length + (at - position) > self._packet_bytes_max:
                    sentence = f"A packet has {length} bytes, {self._packet_bytes_max} are allowed."
                    raise MalformedError(sentence, Reason.PACKET_TOO_LARGE)
                return length, at
            shift += 7
            if shift > 21:
                sentence = "A remaining length is longer than four bytes."
                raise MalformedError(sentence)
        return None

    def _publish(self, first: int, data: bytes, body: int, stop: int) -> Publish:
        qos = (first >> 1) & 3
        if body + 2 > stop or qos == 3 or (not qos and first & 0x08):
            sentence = "A PUBLISH has no topic, QoS 3, or QoS 0 with the duplicate flag."
            raise MalformedError(sentence)
        at = body + 2 + (data[body] << 8 | data[body + 1])
        if at + (2 if qos else 0) > stop:
            sentence = "A PUBLISH ends in the middle of its topic or packet identifier."
            raise MalformedError(sentence)
        raw = data[body + 2 : at]
        topic = self._topics.get(raw)
        if topic is None:
            topic = self._new_topic(raw)
        packet_id = 0
        if qos:
            packet_id = data[at] << 8 | data[at + 1]
            at += 2
            if not packet_id:
                sentence = "A packet identifier is 0."
                raise MalformedError(sentence, Reason.PROTOCOL_ERROR)
        properties: Properties = ()
        if self.version == V5:
            cursor = Cursor(data, at, stop)
            properties = read_properties(cursor, Kind.PUBLISH)
            at = cursor.position
        retain, duplicate = bool(first & 0x01), bool(first & 0x08)
        return Publish(topic, data[at:stop], qos, packet_id, retain, duplicate, properties)

    def _new_topic(self, raw: bytes) -> str:
        topic = topic_name(raw, self.version)
        if len(self._topics) >= TOPICS_REMEMBERED:
            self._topics.clear()
        self._topics[raw] = topic
        return topic


def topic_name(raw: bytes, version: int) -> str:
    """Return a topic name, which has no wildcards (MQTT-3.3.2-2) and is not empty."""
    topic = text_from(raw)
    if "+" in topic or "#" in topic:
        sentence = "A topic name holds a wildcard."
        raise MalformedError(sentence, Reason.TOPIC_NAME_INVALID)
    if not topic and version == V311:
        sentence = "A topic name is empty."
        raise MalformedError(sentence, Reason.TOPIC_NAME_INVALID)
    return topic


def read_packet(first: int, cursor: Cursor, version: int) -> Packet:
    """Return the packet of *first* byte and body, any but a PUBLISH; or raise MalformedError."""
    try:
        kind = Kind(first >> 4)
    except ValueError:
        sentence = "There is no packet type 0."
        raise MalformedError(sentence) from None
    needed = 0x02 if kind in (Kind.SUBSCRIBE, Kind.UNSUBSCRIBE, Kind.PUBREL) else 0x00
    if first & 0x0F != needed:
        sentence = f"The flags of a {kind.name} are {first & 0x0F:#x}, not {needed:#x}."
        raise MalformedError(sentence)
    packet = _read_body(kind, cursor, version)
    cursor.finish()
    return packet


def _read_body(kind: Kind, cursor: Cursor, version: int) -> Packet:
    if kind is Kind.CONNECT:
        return _connect(cursor)
    if kind is Kind.CONNACK:
        present, code = cursor.flag(), cursor.integer(1)
        return Connack(code, present, _properties(cursor, kind, version))
    if kind is Kind.SUBSCRIBE:
        return _subscribe(cursor, version)
    if kind is Kind.UNSUBSCRIBE:
        return _unsubscribe(cursor, version)
    if kind in (Kind.SUBACK, Kind.UNSUBACK):
        packet_id, properties = cursor.packet_id(), _properties(cursor, kind, version)
        codes = tuple(cursor.take(cursor.end - cursor.position))
        return SubscribeAcknowledge(kind, packet_id, codes, properties)
    if kind in (Kind.PINGREQ, Kind.PINGRESP):
        return Ping(kind)
    if kind in (Kind.DISCONNECT, Kind.AUTH):
        if kind is Kind.AUTH and version != V5:
            sentence = "AUTH belongs to MQTT 5."
            raise MalformedError(sentence)
        code, properties = _code_and_properties(cursor, kind, version)
        return (Disconnect if kind is Kind.DISCONNECT else Authenticate)(code, properties)
    packet_id = cursor.packet_id()
    code, properties = _code_and_properties(cursor, kind, version)
    return Acknowledge(kind, packet_id, code, properties)


def _properties(cursor: Cursor, kind: Kind, version: int) -> Properties:
    return read_properties(cursor, kind) if version == V5 else ()


def _code_and_properties(cursor: Cursor, kind: Kind, version: int) -> tuple[int, Properties]:
    """Return code and properties, both of which MQTT 5 lets a packet leave out at its end."""
    if version != V5 or cursor.at_end():
        return 0, ()
    code = cursor.integer(1)
    return code, () if cursor.at_end() else read_properties(cursor, kind)


def _connect(cursor: Cursor) -> Connect:
    name, version = cursor.binary(), cursor.integer(1)
    if name != b"MQTT" or version not in (V311, V5):
        sentence = f"Protocol {name[:16]!r} level {version} is not MQTT 3.1.1 or 5."
        raise MalformedError(sentence, Reason.UNSUPPORTED_VERSION)
    flags = cursor.integer(1)
    has_user, has_password, has_will = flags & 0x80, flags & 0x40, flags & 0x04
    qos, retain = (flags >> 3) & 3, bool(flags & 0x20)
    if flags & 0x01 or qos == 3 or (not has_will and (qos or retain)):
        sentence = f"The connect flags {flags:#04x} contradict each other."
        raise MalformedError(sentence)
    if version == V311 and has_password and not has_user:
        sentence = "A CONNECT has a password without a user name."
        raise MalformedError(sentence)
    keep_alive_s = cursor.integer(2)
    properties = _properties(cursor, Kind.CONNECT, version)
    client_id = cursor.text()
    will = None
    if has_will:
        will_properties = read_properties(cursor, WILL) if version == V5 else ()
        topic = topic_name(cursor.binary(), V311)
        will = Will(topic, cursor.binary(), qos, retain, will_properties)
    user = cursor.text() if has_user else None
    password = cursor.binary() if has_password else None
    clean = bool(flags & 0x02)
    return Connect(version, client_id, clean, keep_alive_s, user, password, will, properties)


def _subscribe(cursor: Cursor, version: int) -> Subscribe:
    packet_id, properties = cursor.packet_id(), _properties(cursor, Kind.SUBSCRIBE, version)
    subscriptions: list[Subscription] = []
    while not cursor.at_end():
        topic_filter, options = cursor.text(), cursor.integer(1)
        qos, handling = options & 3, (options >> 4) & 3
        if qos == 3 or handling == 3 or options & 0xC0 or (version == V311 and options & 0xFC):
            sentence = f"Subscription options {options:#04x} are not defined."
            raise MalformedError(sentence)
        no_local, as_published = bool(options & 0x04), bool(options & 0x08)
        subscriptions.append(Subscription(topic_filter, qos, no_local, as_published, handling))
        _bound(len(subscriptions))
    _not_empty(bool(subscriptions))
    return Subscribe(packet_id, tuple(subscriptions), properties)


def _unsubscribe(cursor: Cursor, version: int) -> Unsubscribe:
    packet_id, properties = cursor.packet_id(), _properties(cursor, Kind.UNSUBSCRIBE, version)
    filters: list[str] = []
    while not cursor.at_end():
        filters.append(cursor.text())
        _bound(len(filters))
    _not_empty(bool(filters))
    return Unsubscribe(packet_id, tuple(filters), properties)


def _bound(filters: int) -> None:
    if filters > FILTERS_MAX:
        sentence = f"A packet has more than {FILTERS_MAX} topic filters."
        raise MalformedError(sentence, Reason.QUOTA_EXCEEDED)


def _not_empty(has_filters: bool) -> None:
    if not has_filters:
        sentence = "A SUBSCRIBE or UNSUBSCRIBE has no topic filter."
        raise MalformedError(sentence, Reason.PROTOCOL_ERROR)
