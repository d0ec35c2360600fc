"""Packets to bytes; the opposite direction of `decoding.py`.

Raises ValueError for a value that no packet can carry; the door only encodes values it made.
"""

from __future__ import annotations

import msgspec

from underlid.mqtt.fields import write_binary, write_text, write_variable_integer
from underlid.mqtt.packets import (
    V5,
    Acknowledge,
    Authenticate,
    Connack,
    Connect,
    Disconnect,
    Kind,
    Packet,
    Ping,
    Properties,
    Publish,
    Subscribe,
    SubscribeAcknowledge,
    Unsubscribe,
)
from underlid.mqtt.properties import write_properties


def encode(packet: Packet, version: int) -> bytes:
    """Return *packet* as bytes of MQTT *version* (4 is 3.1.1, 5 is 5.0).

    >>> encode(Ping(Kind.PINGRESP), 4).hex()
    'd000'
    """
    first, body = _parts(packet, version)
    return bytes((first,)) + write_variable_integer(len(body)) + body


def fitting(packet: Packet, version: int, bytes_max: int) -> bytes | None:
    """Return *packet* in at most *bytes_max* bytes, without its reason if need be, or None."""
    data = encode(packet, version)
    if len(data) > bytes_max and isinstance(packet, Acknowledge | Disconnect):
        data = encode(msgspec.structs.replace(packet, properties=()), version)
    return data if len(data) <= bytes_max else None


def _parts(packet: Packet, version: int) -> tuple[int, bytes]:
    match packet:
        case Publish():
            return _publish(packet, version)
        case Connect():
            return Kind.CONNECT << 4, _connect(packet)
        case Connack(code, session_present, properties):
            head = bytes((session_present, code))
            return Kind.CONNACK << 4, head + _properties(properties, version)
        case Acknowledge(kind, packet_id, code, properties):
            flags = 0x02 if kind is Kind.PUBREL else 0x00
            body = packet_id.to_bytes(2, "big") + _end(code, properties, version)
            return kind << 4 | flags, body
        case Subscribe(packet_id, subscriptions, properties):
            body = packet_id.to_bytes(2, "big") + _properties(properties, version)
            for one in subscriptions:
                options = one.qos | one.no_local << 2 | one.retain_as_published << 3
                options |= one.retain_handling << 4
                body += write_text(one.topic_filter) + bytes((options,))
            return Kind.SUBSCRIBE << 4 | 0x02, body
        case Unsubscribe(packet_id, topic_filters, properties):
            body = packet_id.to_bytes(2, "big") + _properties(properties, version)
            return Kind.UNSUBSCRIBE << 4 | 0x02, body + b"".join(map(write_text, topic_filters))
        case SubscribeAcknowledge(kind, packet_id, codes, properties):
            body = packet_id.to_bytes(2, "big") + _properties(properties, version)
            return kind << 4, body + bytes(codes)
        case Ping(kind):
            return kind << 4, b""
        case Disconnect(code, properties):
            return Kind.DISCONNECT << 4, _end(code, properties, version)
        case Authenticate(code, properties):
            return Kind.AUTH << 4, _end(code, properties, version)


def _properties(properties: Properties, version: int) -> bytes:
    return write_properties(properties) if version == V5 else b""


def _end(code: int, properties: Properties, version: int) -> bytes:
    """Return code and properties, left out where MQTT 5 allows it."""
    if version != V5 or (not code and not properties):
        return b""
    return bytes((code,)) + (write_properties(properties) if properties else b"")


def _publish(packet: Publish, version: int) -> tuple[int, bytes]:
    first = Kind.PUBLISH << 4 | packet.duplicate << 3 | packet.qos << 1 | packet.retain
    head = write_text(packet.topic)
    if packet.qos:
        head += packet.packet_id.to_bytes(2, "big")
    return first, head + _properties(packet.properties, version) + packet.payload


def _connect(packet: Connect) -> bytes:
    will = packet.will
    flags = packet.clean_start << 1
    if will is not None:
        flags |= 0x04 | will.qos << 3 | will.retain << 5
    flags |= (packet.password is not None) << 6 | (packet.user is not None) << 7
    body = write_text("MQTT") + bytes((packet.version, flags))
    body += packet.keep_alive_s.to_bytes(2, "big")
    body += _properties(packet.properties, packet.version) + write_text(packet.client_id)
    if will is not None:
        body += _properties(will.properties, packet.version)
        body += write_text(will.topic) + write_binary(will.payload)
    if packet.user is not None:
        body += write_text(packet.user)
    if packet.password is not None:
        body += write_binary(packet.password)
    return body
