"""PUBLISH, SUBSCRIBE, UNSUBSCRIBE and PINGREQ in a session that serves."""

from __future__ import annotations

from typing import Any

import pytest

from mqtt.loopback import TOPIC, reading
from mqtt.sessions import (
    NOW_MS,
    VERSIONS,
    answers,
    give,
    only,
    serving,
)
from underlid.mqtt.decoding import PacketReader
from underlid.mqtt.endings import Ending
from underlid.mqtt.events import (
    Arrived,
    Ended,
    Refused,
    Subscribed,
    Unsubscribed,
)
from underlid.mqtt.packets import (
    V5,
    Acknowledge,
    Kind,
    Ping,
    Property,
    Publish,
    Reason,
    Subscribe,
    SubscribeAcknowledge,
    Subscription,
    Unsubscribe,
)
from underlid.mqtt.session import State
from underlid.mqtt.welcome import RECEIVE_MAXIMUM
from underlid.readings.values import RawMessage

# -- PUBLISH ----------------------------------------------------------------------------------


@pytest.mark.parametrize("version", VERSIONS)
def test_publishes_become_messages_and_pubacks_in_order(version: int) -> None:
    """PUBACKs go out in the order of the PUBLISHes."""
    sent = [reading(number) for number in (1, 2, 3)]
    arrived = only(give(serving(version), *sent, version=version), Arrived)
    assert arrived.messages == [RawMessage(TOPIC, one.payload, NOW_MS) for one in sent]
    found = PacketReader(version).feed(b"".join(arrived.acks))
    assert found == [Acknowledge(Kind.PUBACK, number) for number in (1, 2, 3)]


def test_qos_0_is_stored_without_an_answer() -> None:
    arrived = only(give(serving(), Publish(TOPIC, b"{}")), Arrived)
    assert len(arrived.messages) == 1
    assert arrived.acks == []


def test_qos_2_ends_the_connection() -> None:
    """MQTT-3.2.2-11: after Maximum QoS 1 a client must not; 3.1.1 is closed."""
    wrong = Publish(TOPIC, b"{}", 2, 9)
    assert only(give(serving(), wrong), Ended).ending is Ending.QOS_2
    events = give(serving(V5), wrong, version=V5)
    assert answers(events, V5)[0].code == Reason.QOS_NOT_SUPPORTED


def test_a_forbidden_topic_is_refused_with_a_code_in_version_5() -> None:
    """The refusal keeps its place among the PUBACKs; the connection goes on."""
    sent = [reading(1, "tansy-1"), reading(2, "sorrel-1"), reading(3, "tansy-1")]
    session = serving(V5, user="tansy-1")
    events = give(session, *sent, version=V5)
    acks = b"".join(ack for event in events if isinstance(event, Arrived) for ack in event.acks)
    codes = [getattr(one, "code", None) for one in PacketReader(V5).feed(acks)]
    assert codes == [0, Reason.NOT_AUTHORISED, 0]
    assert Refused("not_authorised") in events
    assert session.state is State.SERVING


def test_a_forbidden_topic_ends_a_connection_of_3_1_1() -> None:
    """MQTT-3.3.5-2 of 3.1.1: there is no way to say no but to close."""
    events = give(serving(user="tansy-1"), reading(1, "tansy-1"), reading(2, "sorrel-1"))
    assert len(only(events, Arrived).messages) == 1
    assert only(events, Ended).ending is Ending.NOT_AUTHORISED


def test_reason_strings_are_left_out_when_not_wanted() -> None:
    """MQTT-3.1.2-32: not in a PUBACK when Request Problem Information is 0."""
    silent = serving(V5, user="tansy-1", properties=((Property.REQUEST_PROBLEM_INFORMATION, 0),))
    for session, told in ((silent, False), (serving(V5, user="tansy-1"), True)):
        acks = only(give(session, reading(2, "sorrel-1"), version=V5), Arrived).acks
        answer = PacketReader(V5).feed(acks[0])[0]
        assert isinstance(answer, Acknowledge)
        assert bool(answer.properties) is told


def test_a_topic_alias_is_refused() -> None:
    """MQTT-3.2.2-17: none is allowed when Topic Alias Maximum is 0."""
    for topic in (TOPIC, ""):
        alias = Publish(topic, b"{}", properties=((Property.TOPIC_ALIAS, 1),))
        assert answers(give(serving(V5), alias, version=V5), V5)[0].code == 0x94


def test_an_empty_topic_without_an_alias_is_refused() -> None:
    """MQTT-4.7.3-1."""
    events = give(serving(V5), Publish("", b"{}"), version=V5)
    assert answers(events, V5)[0].code == Reason.TOPIC_NAME_INVALID


@pytest.mark.parametrize("wrong", [(Property.SUBSCRIPTION_ID, 4), (Property.RESPONSE_TOPIC, "a/#")])
def test_a_publish_with_a_property_for_servers_is_refused(wrong: Any) -> None:
    """MQTT-3.3.4-6 and MQTT-3.3.2-14."""
    events = give(serving(V5), Publish(TOPIC, b"{}", properties=(wrong,)), version=V5)
    assert answers(events, V5)[0].code == Reason.PROTOCOL_ERROR


def test_more_than_the_receive_maximum_ends_the_connection() -> None:
    """MQTT-3.3.4-7: what came before it is still taken."""
    session = serving(V5)
    events = give(session, *(reading(n) for n in range(1, RECEIVE_MAXIMUM + 2)), version=V5)
    assert len(only(events, Arrived).messages) == RECEIVE_MAXIMUM
    assert only(events, Ended).ending is Ending.TOO_MANY_IN_FLIGHT
    session = serving(V5)
    give(session, *(reading(n) for n in range(1, RECEIVE_MAXIMUM + 1)), version=V5)
    session.acknowledged(RECEIVE_MAXIMUM)
    assert only(give(session, reading(1), version=V5), Arrived)


def test_a_duplicate_is_taken_as_a_message() -> None:
    """MQTT-4.3.2-5: after a resend ownership is taken anew; the store makes it one."""
    again = Publish(TOPIC, b"{}", 1, 5, duplicate=True)
    assert len(only(give(serving(), again), Arrived).acks) == 1


# -- SUBSCRIBE --------------------------------------------------------------------------------

FILTERS = {
    "underlid/v1/+/state/#": 0,
    "underlid/v1/potting/alert": 0,
    "underlid/v1/+/+/confirm": 0,
    "#": Reason.NOT_AUTHORISED,
    "underlid/v1/potting/sorrel-1/json": Reason.NOT_AUTHORISED,
    "a/#/b": Reason.TOPIC_FILTER_INVALID,
    "a+": Reason.TOPIC_FILTER_INVALID,
    "": Reason.TOPIC_FILTER_INVALID,
    "$share/g/underlid/v1/+/alert": Reason.SHARED_NOT_SUPPORTED,
}


def test_each_filter_is_answered_in_its_place() -> None:
    """MQTT-3.8.4-6: one code per filter, in order; QoS 0 is all that is granted."""
    wanted = Subscribe(7, tuple(Subscription(one, 1) for one in FILTERS))
    told = answers(give(serving(V5, user="keeper"), wanted, version=V5), V5)[0]
    assert told.packet_id == 7
    assert dict(zip(FILTERS, told.codes, strict=True)) == FILTERS
    told = answers(give(serving(user="keeper"), wanted))[0]
    assert told.codes == tuple(min(code, 0x80) for code in FILTERS.values())


def test_retain_handling_says_which_states_are_sent() -> None:
    """MQTT-3.3.1-9 to -11."""
    session = serving(V5, user="keeper")
    filters = ("underlid/v1/+/alert",)

    def ask(handling: int) -> tuple[str, ...]:
        wanted = Subscribe(7, (Subscription(filters[0], retain_handling=handling),))
        return only(give(session, wanted, version=V5), Subscribed).retained

    assert [ask(handling) for handling in (2, 1, 0)] == [(), (), filters]
    give(session, Unsubscribe(8, filters), version=V5)
    assert ask(1) == filters


def test_a_subscription_identifier_is_refused() -> None:
    wanted = Subscribe(7, (Subscription("a"),), ((Property.SUBSCRIPTION_ID, 3),))
    told = answers(give(serving(V5, user="keeper"), wanted, version=V5), V5)[0]
    assert told.code == Reason.SUBSCRIPTION_IDS_NOT_SUPPORTED


def test_unsubscribe_is_answered() -> None:
    """MQTT-3.10.4-4 and -5: an UNSUBACK, even when nothing matched."""
    session = serving(V5, user="keeper")
    give(session, Subscribe(7, (Subscription("underlid/v1/+/alert"),)), version=V5)
    events = give(session, Unsubscribe(8, ("underlid/v1/+/alert", "other")), version=V5)
    assert only(events, Unsubscribed).filters == ("underlid/v1/+/alert",)
    assert answers(events, V5)[0].codes == (0, Reason.NO_SUBSCRIPTION_EXISTED)
    events = give(serving(), Unsubscribe(9, ("other",)))
    assert answers(events) == [SubscribeAcknowledge(Kind.UNSUBACK, 9)]


def test_a_65th_subscription_is_refused() -> None:
    session = serving(V5, user="keeper")
    filters = [f"underlid/v1/s{n}/alert" for n in range(65)]
    give(session, Subscribe(1, tuple(map(Subscription, filters[:64]))), version=V5)
    told = answers(give(session, Subscribe(2, (Subscription(filters[64]),)), version=V5), V5)[0]
    assert told.codes == (Reason.QUOTA_EXCEEDED,)


def test_ping_is_answered() -> None:
    """MQTT-3.12.4-1."""
    assert answers(give(serving(), Ping(Kind.PINGREQ))) == [Ping(Kind.PINGRESP)]
