"""What the door answers to CONNECT, SUBSCRIBE and odd PUBLISHes: the limits and the refusals.

Pure; used by `session.py` only. Who may do what is in `grants.py`.
"""

from __future__ import annotations

from typing import Final

from underlid.mqtt.decoding import PACKET_BYTES_MAX
from underlid.mqtt.grants import Grants
from underlid.mqtt.packets import (
    V5,
    V311,
    Connect,
    Properties,
    Property,
    PropertyValue,
    Publish,
    Reason,
    Subscription,
    integer_of,
    property_of,
)
from underlid.readings.topic_filter import is_filter

RECEIVE_MAXIMUM: Final = 1000
"""Messages a client may have waiting for their PUBACK; a probe's flush is far below it."""

CLIENT_ID_CHARS_MAX: Final = 128
"""The standard asks for 23; common libraries make up ids of about 40."""

SUBSCRIPTIONS_MAX: Final = 64
"""Filters of one connection; a display of every bin needs one."""

CLIENT_PACKET_BYTES_MAX: Final = 4 * 1024 * 1024
"""More than any state the service publishes."""

Problem = tuple[Reason, str]

_RETURN_CODES: Final = {
    Reason.UNSUPPORTED_VERSION: 1,
    Reason.BAD_CLIENT_ID: 2,
    Reason.BAD_CREDENTIALS: 4,
    Reason.NOT_AUTHORISED: 5,
}
"""Reason codes of MQTT 5 as return codes of 3.1.1 (table 3.1 there)."""


def return_code(reason: Reason) -> int:
    """Return the 3.1.1 return code for *reason*; 3 is "server unavailable"."""
    return _RETURN_CODES.get(reason, 3)


def connect_problem(packet: Connect, grants: Grants) -> Problem | None:
    """Return why *packet* is not let in, or None."""
    if property_of(packet.properties, Property.AUTHENTICATION_METHOD) is not None:
        return Reason.BAD_AUTHENTICATION_METHOD, "Only user name and password are supported."
    if not packet.client_id and packet.version == V311 and not packet.clean_start:
        return Reason.BAD_CLIENT_ID, "A client without an id must ask for a clean session."
    if len(packet.client_id) > CLIENT_ID_CHARS_MAX:
        return Reason.BAD_CLIENT_ID, f"A client id has at most {CLIENT_ID_CHARS_MAX} characters."
    user = packet.user
    if user is None or not grants.admits(user, packet.password):
        return Reason.BAD_CREDENTIALS, "User name or password is missing or wrong."
    will = packet.will
    if will is None:
        return None
    if will.qos == 2 and packet.version == V5:
        return Reason.QOS_NOT_SUPPORTED, "A will may have QoS 0 or 1."
    if not grants.may_publish(user, will.topic, will.payload):
        return Reason.NOT_AUTHORISED, f"User {user!r} may not publish to its will's topic."
    return None


def announcements(assigned_client_id: str) -> Properties:
    """Return what CONNACK tells an MQTT 5 client about this endpoint."""
    told: list[tuple[Property, PropertyValue]] = [
        (Property.SESSION_EXPIRY_S, 0),
        (Property.RECEIVE_MAXIMUM, RECEIVE_MAXIMUM),
        (Property.MAXIMUM_QOS, 1),
        (Property.MAXIMUM_PACKET_BYTES, PACKET_BYTES_MAX),
        (Property.TOPIC_ALIAS_MAXIMUM, 0),
        (Property.SUBSCRIPTION_IDS_AVAILABLE, 0),
        (Property.SHARED_AVAILABLE, 0),
    ]
    if assigned_client_id:
        told.append((Property.ASSIGNED_CLIENT_ID, assigned_client_id))
    return tuple(told)


def publish_problem(packet: Publish) -> Problem | None:
    """Return why a PUBLISH with properties, or without a topic, breaks the standard."""
    if integer_of(packet.properties, Property.TOPIC_ALIAS, -1) >= 0:
        return Reason.TOPIC_ALIAS_INVALID, "Topic aliases are not supported."
    if property_of(packet.properties, Property.SUBSCRIPTION_ID) is not None:
        return Reason.PROTOCOL_ERROR, "A client sends no subscription identifiers."
    response = property_of(packet.properties, Property.RESPONSE_TOPIC)
    if isinstance(response, str) and ("+" in response or "#" in response):
        return Reason.PROTOCOL_ERROR, "A response topic holds a wildcard."
    if not packet.topic:
        return Reason.TOPIC_NAME_INVALID, "A topic name is empty."
    return None


def subscribe_code(user: str, wanted: Subscription, grants: Grants, held: int) -> int:
    """Return the SUBACK code of one filter: 0, since QoS 0 is all that is granted, or a refusal."""
    topic_filter = wanted.topic_filter
    if topic_filter.startswith("$share/"):
        return Reason.SHARED_NOT_SUPPORTED
    if not is_filter(topic_filter):
        return Reason.TOPIC_FILTER_INVALID
    if not grants.may_subscribe(user, topic_filter):
        return Reason.NOT_AUTHORISED
    return Reason.QUOTA_EXCEEDED if held >= SUBSCRIPTIONS_MAX else Reason.SUCCESS
