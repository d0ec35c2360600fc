"""MQTT packets as frozen values, for versions 3.1.1 and 5.0, and the numbers of the standard.

Nothing here knows bytes: `decoding.py` and `encoding.py` turn these into bytes and back,
`properties.py` holds the table of MQTT 5 properties. Read `session.py` next for what the door
does with a packet. Source of every number: OASIS MQTT 3.1.1 and MQTT 5.0.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Final

import msgspec

V311: Final = 4
V5: Final = 5
"""Protocol levels as a CONNECT carries them."""


class Kind(IntEnum):
    """The packet's type, the high half of its first byte."""

    CONNECT = 1
    CONNACK = 2
    PUBLISH = 3
    PUBACK = 4
    PUBREC = 5
    PUBREL = 6
    PUBCOMP = 7
    SUBSCRIBE = 8
    SUBACK = 9
    UNSUBSCRIBE = 10
    UNSUBACK = 11
    PINGREQ = 12
    PINGRESP = 13
    DISCONNECT = 14
    AUTH = 15


class Reason(IntEnum):
    """MQTT 5 reason codes that this endpoint sends or understands."""

    SUCCESS = 0x00
    DISCONNECT_WITH_WILL = 0x04
    NO_SUBSCRIPTION_EXISTED = 0x11
    UNSPECIFIED = 0x80
    MALFORMED_PACKET = 0x81
    PROTOCOL_ERROR = 0x82
    IMPLEMENTATION_SPECIFIC = 0x83
    UNSUPPORTED_VERSION = 0x84
    BAD_CLIENT_ID = 0x85
    BAD_CREDENTIALS = 0x86
    NOT_AUTHORISED = 0x87
    SERVER_BUSY = 0x89
    SERVER_SHUTTING_DOWN = 0x8B
    BAD_AUTHENTICATION_METHOD = 0x8C
    KEEP_ALIVE_TIMEOUT = 0x8D
    SESSION_TAKEN_OVER = 0x8E
    TOPIC_FILTER_INVALID = 0x8F
    TOPIC_NAME_INVALID = 0x90
    RECEIVE_MAXIMUM_EXCEEDED = 0x93
    TOPIC_ALIAS_INVALID = 0x94
    PACKET_TOO_LARGE = 0x95
    QUOTA_EXCEEDED = 0x97
    QOS_NOT_SUPPORTED = 0x9B
    SHARED_NOT_SUPPORTED = 0x9E
    SUBSCRIPTION_IDS_NOT_SUPPORTED = 0xA1


class Property(IntEnum):
    """MQTT 5 property identifiers."""

    PAYLOAD_FORMAT = 0x01
    MESSAGE_EXPIRY_S = 0x02
    CONTENT_TYPE = 0x03
    RESPONSE_TOPIC = 0x08
    CORRELATION_DATA = 0x09
    SUBSCRIPTION_ID = 0x0B
    SESSION_EXPIRY_S = 0x11
    ASSIGNED_CLIENT_ID = 0x12
    SERVER_KEEP_ALIVE_S = 0x13
    AUTHENTICATION_METHOD = 0x15
    AUTHENTICATION_DATA = 0x16
    REQUEST_PROBLEM_INFORMATION = 0x17
    WILL_DELAY_S = 0x18
    REQUEST_RESPONSE_INFORMATION = 0x19
    RESPONSE_INFORMATION = 0x1A
    SERVER_REFERENCE = 0x1C
    REASON_STRING = 0x1F
    RECEIVE_MAXIMUM = 0x21
    TOPIC_ALIAS_MAXIMUM = 0x22
    TOPIC_ALIAS = 0x23
    MAXIMUM_QOS = 0x24
    RETAIN_AVAILABLE = 0x25
    USER_PROPERTY = 0x26
    MAXIMUM_PACKET_BYTES = 0x27
    WILDCARDS_AVAILABLE = 0x28
    SUBSCRIPTION_IDS_AVAILABLE = 0x29
    SHARED_AVAILABLE = 0x2A


PropertyValue = int | str | bytes | tuple[str, str]
Properties = tuple[tuple[Property, PropertyValue], ...]
"""In the order of the wire; only user properties and subscription ids may come twice."""


class Will(msgspec.Struct, frozen=True):
    """What a client asks to be published for it when its connection is lost."""

    topic: str
    payload: bytes
    qos: int = 0
    retain: bool = False
    properties: Properties = ()


class Connect(msgspec.Struct, frozen=True):
    """The first packet of a client."""

    version: int
    client_id: str
    clean_start: bool = True
    keep_alive_s: int = 0
    user: str | None = None
    password: bytes | None = None
    will: Will | None = None
    properties: Properties = ()


class Connack(msgspec.Struct, frozen=True):
    """The answer to it. `code` is a return code (3.1.1) or a reason code (5)."""

    code: int
    session_present: bool = False
    properties: Properties = ()


class Publish(msgspec.Struct, frozen=True, gc=False):
    """A message. `packet_id` is 0 for QoS 0."""

    topic: str
    payload: bytes
    qos: int = 0
    packet_id: int = 0
    retain: bool = False
    duplicate: bool = False
    properties: Properties = ()


class Acknowledge(msgspec.Struct, frozen=True):
    """PUBACK, PUBREC, PUBREL or PUBCOMP, by `kind`."""

    kind: Kind
    packet_id: int
    code: int = 0
    properties: Properties = ()


class Subscription(msgspec.Struct, frozen=True):
    """One topic filter of a SUBSCRIBE with its options; all but `qos` are MQTT 5 only."""

    topic_filter: str
    qos: int = 0
    no_local: bool = False
    retain_as_published: bool = False
    retain_handling: int = 0


class Subscribe(msgspec.Struct, frozen=True):
    """Asks for messages."""

    packet_id: int
    subscriptions: tuple[Subscription, ...]
    properties: Properties = ()


class Unsubscribe(msgspec.Struct, frozen=True):
    """Wants no more of them."""

    packet_id: int
    topic_filters: tuple[str, ...]
    properties: Properties = ()


class SubscribeAcknowledge(msgspec.Struct, frozen=True):
    """SUBACK or UNSUBACK, by `kind`; the UNSUBACK of 3.1.1 has no codes."""

    kind: Kind
    packet_id: int
    codes: tuple[int, ...] = ()
    properties: Properties = ()


class Ping(msgspec.Struct, frozen=True):
    """PINGREQ or PINGRESP, by `kind`."""

    kind: Kind


class Disconnect(msgspec.Struct, frozen=True):
    """The last packet; in 3.1.1 only a client sends it, and without a code."""

    code: int = 0
    properties: Properties = ()


class Authenticate(msgspec.Struct, frozen=True):
    """AUTH of MQTT 5; this endpoint never uses it."""

    code: int = 0
    properties: Properties = ()


class Malformed(msgspec.Struct, frozen=True):
    """The bytes stop being MQTT here: the reason code to answer with, the sentence to log."""

    reason: Reason
    sentence: str


Packet = (
    Connect
    | Connack
    | Publish
    | Acknowledge
    | Subscribe
    | Unsubscribe
    | SubscribeAcknowledge
    | Ping
    | Disconnect
    | Authenticate
)


def property_of(properties: Properties, wanted: Property) -> PropertyValue | None:
    """Return the first value of property *wanted*, or None.

    >>> property_of(((Property.RECEIVE_MAXIMUM, 20),), Property.RECEIVE_MAXIMUM)
    20
    """
    for name, value in properties:
        if name == wanted:
            return value
    return None


def integer_of(properties: Properties, wanted: Property, otherwise: int) -> int:
    """Return the integer value of property *wanted*, or *otherwise* when it is not there."""
    value = property_of(properties, wanted)
    return value if isinstance(value, int) else otherwise


def kind_of(packet: Packet) -> Kind:
    """Return the kind of *packet*."""
    if isinstance(packet, Acknowledge | SubscribeAcknowledge | Ping):
        return packet.kind
    return _KINDS[type(packet)]


_KINDS: Final[dict[type, Kind]] = {
    Connect: Kind.CONNECT,
    Connack: Kind.CONNACK,
    Publish: Kind.PUBLISH,
    Subscribe: Kind.SUBSCRIBE,
    Unsubscribe: Kind.UNSUBSCRIBE,
    Disconnect: Kind.DISCONNECT,
    Authenticate: Kind.AUTH,
}
