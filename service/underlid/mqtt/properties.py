"""MQTT 5 properties: which packet may carry which, what type it has, bytes to values and back.

The table follows MQTT 5.0 section 2.2.2.2. What a property means to the door is in
`session.py`.
"""

from __future__ import annotations

from enum import Enum
from typing import Final, NamedTuple

from underlid.mqtt.fields import (
    Cursor,
    MalformedError,
    write_binary,
    write_text,
    write_variable_integer,
)
from underlid.mqtt.packets import Kind, Properties, Property, PropertyValue, Reason


class Type(Enum):
    """How a property's value is written."""

    FLAG = 1
    TWO_BYTES = 3
    FOUR_BYTES = 4
    VARIABLE = 5
    TEXT = 6
    BINARY = 7
    PAIR = 8


class Rule(NamedTuple):
    """A property's type, the packets that may carry it, and whether 0 is allowed."""

    type: Type
    packets: frozenset[int]
    zero: bool = True


WILL: Final = 0
"""Stands beside the packet kinds for the properties of a will."""

PROPERTIES_MAX: Final = 32
"""More than this in one packet is nothing a probe needs (our judgement)."""

_ACKNOWLEDGES = (
    Kind.CONNACK,
    Kind.PUBACK,
    Kind.PUBREC,
    Kind.PUBREL,
    Kind.PUBCOMP,
    Kind.SUBACK,
    Kind.UNSUBACK,
    Kind.DISCONNECT,
    Kind.AUTH,
)
_REPEATABLE = (Property.USER_PROPERTY, Property.SUBSCRIPTION_ID)


def _rule(type_: Type, *packets: int, zero: bool = True) -> Rule:
    return Rule(type_, frozenset(packets), zero)


RULES: Final[dict[Property, Rule]] = {
    Property.PAYLOAD_FORMAT: _rule(Type.FLAG, Kind.PUBLISH, WILL),
    Property.MESSAGE_EXPIRY_S: _rule(Type.FOUR_BYTES, Kind.PUBLISH, WILL),
    Property.CONTENT_TYPE: _rule(Type.TEXT, Kind.PUBLISH, WILL),
    Property.RESPONSE_TOPIC: _rule(Type.TEXT, Kind.PUBLISH, WILL),
    Property.CORRELATION_DATA: _rule(Type.BINARY, Kind.PUBLISH, WILL),
    Property.SUBSCRIPTION_ID: _rule(Type.VARIABLE, Kind.PUBLISH, Kind.SUBSCRIBE, zero=False),
    Property.SESSION_EXPIRY_S: _rule(Type.FOUR_BYTES, Kind.CONNECT, Kind.CONNACK, Kind.DISCONNECT),
    Property.ASSIGNED_CLIENT_ID: _rule(Type.TEXT, Kind.CONNACK),
    Property.SERVER_KEEP_ALIVE_S: _rule(Type.TWO_BYTES, Kind.CONNACK),
    Property.AUTHENTICATION_METHOD: _rule(Type.TEXT, Kind.CONNECT, Kind.CONNACK, Kind.AUTH),
    Property.AUTHENTICATION_DATA: _rule(Type.BINARY, Kind.CONNECT, Kind.CONNACK, Kind.AUTH),
    Property.REQUEST_PROBLEM_INFORMATION: _rule(Type.FLAG, Kind.CONNECT),
    Property.WILL_DELAY_S: _rule(Type.FOUR_BYTES, WILL),
    Property.REQUEST_RESPONSE_INFORMATION: _rule(Type.FLAG, Kind.CONNECT),
    Property.RESPONSE_INFORMATION: _rule(Type.TEXT, Kind.CONNACK),
    Property.SERVER_REFERENCE: _rule(Type.TEXT, Kind.CONNACK, Kind.DISCONNECT),
    Property.REASON_STRING: _rule(Type.TEXT, *_ACKNOWLEDGES),
    Property.RECEIVE_MAXIMUM: _rule(Type.TWO_BYTES, Kind.CONNECT, Kind.CONNACK, zero=False),
    Property.TOPIC_ALIAS_MAXIMUM: _rule(Type.TWO_BYTES, Kind.CONNECT, Kind.CONNACK),
    Property.TOPIC_ALIAS: _rule(Type.TWO_BYTES, Kind.PUBLISH),
    Property.MAXIMUM_QOS: _rule(Type.FLAG, Kind.CONNACK),
    Property.RETAIN_AVAILABLE: _rule(Type.FLAG, Kind.CONNACK),
    Property.USER_PROPERTY: _rule(
        Type.PAIR,
        *_ACKNOWLEDGES,
        Kind.CONNECT,
        Kind.PUBLISH,
        Kind.SUBSCRIBE,
        Kind.UNSUBSCRIBE,
        WILL,
    ),
    Property.MAXIMUM_PACKET_BYTES: _rule(Type.FOUR_BYTES, Kind.CONNECT, Kind.CONNACK, zero=False),
    Property.WILDCARDS_AVAILABLE: _rule(Type.FLAG, Kind.CONNACK),
    Property.SUBSCRIPTION_IDS_AVAILABLE: _rule(Type.FLAG, Kind.CONNACK),
    Property.SHARED_AVAILABLE: _rule(Type.FLAG, Kind.CONNACK),
}


def read_properties(cursor: Cursor, packet: int) -> Properties:
    """Return the properties at *cursor*, checked against what *packet* may carry."""
    length = cursor.variable_integer()
    if not length:
        return ()
    part = Cursor(cursor.data, cursor.position, cursor.position + length)
    cursor.take(length)
    found: list[tuple[Property, PropertyValue]] = []
    seen: set[Property] = set()
    while not part.at_end():
        name, value = _read_one(part, packet)
        if name in seen and name not in _REPEATABLE:
            sentence = f"Property {name.name} comes twice."
            raise MalformedError(sentence, Reason.PROTOCOL_ERROR)
        seen.add(name)
        found.append((name, value))
        if len(found) > PROPERTIES_MAX:
            sentence = f"A packet has more than {PROPERTIES_MAX} properties."
            raise MalformedError(sentence, Reason.QUOTA_EXCEEDED)
    return tuple(found)


def _read_one(cursor: Cursor, packet: int) -> tuple[Property, PropertyValue]:
    number = cursor.variable_integer()
    try:
        name = Property(number)
    except ValueError:
        sentence = f"There is no property {number}."
        raise MalformedError(sentence) from None
    rule = RULES[name]
    if packet not in rule.packets:
        sentence = f"Property {name.name} does not belong into this packet."
        raise MalformedError(sentence, Reason.PROTOCOL_ERROR)
    value = _read_value(cursor, rule.type)
    if value == 0 and not rule.zero:
        sentence = f"Property {name.name} is 0."
        raise MalformedError(sentence, Reason.PROTOCOL_ERROR)
    return name, value


def _read_value(cursor: Cursor, type_: Type) -> PropertyValue:
    if type_ is Type.FLAG:
        return int(cursor.flag())
    if type_ is Type.TWO_BYTES:
        return cursor.integer(2)
    if type_ is Type.FOUR_BYTES:
        return cursor.integer(4)
    if type_ is Type.VARIABLE:
        return cursor.variable_integer()
    if type_ is Type.TEXT:
        return cursor.text()
    if type_ is Type.BINARY:
        return cursor.binary()
    return cursor.text(), cursor.text()


def write_properties(properties: Properties) -> bytes:
    """Return *properties* with their length before them."""
    body = b"".join(
        write_variable_integer(name) + _write_value(RULES[name].type, value)
        for name, value in properties
    )
    return write_variable_integer(len(body)) + body


def _write_value(type_: Type, value: PropertyValue) -> bytes:
    if isinstance(value, int):
        if type_ is Type.VARIABLE:
            return write_variable_integer(value)
        size = {Type.TWO_BYTES: 2, Type.FOUR_BYTES: 4}.get(type_, 1)
        return value.to_bytes(size, "big")
    if isinstance(value, str):
        return write_text(value)
    if isinstance(value, bytes):
        return write_binary(value)
    return write_text(value[0]) + write_text(value[1])
