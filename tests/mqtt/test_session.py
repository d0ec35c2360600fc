"""The life of a connection as a pure state machine, and what the standard demands of it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any, TypeVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mqtt.loopback import GRANTS, SECRETS, TOPIC, reading
from mqtt.packet_strategies import packets
from underlid.mqtt.decoding import PACKET_BYTES_MAX, PacketReader
from underlid.mqtt.encoding import encode
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
from underlid.mqtt.grants import Grants, secret_hash
from underlid.mqtt.packets import (
    V5,
    V311,
    Acknowledge,
    Authenticate,
    Connack,
    Connect,
    Disconnect,
    Kind,
    Packet,
    Ping,
    Property,
    Publish,
    Reason,
    Subscribe,
    SubscribeAcknowledge,
    Subscription,
    Unsubscribe,
    Will,
    kind_of,
    property_of,
)
from underlid.mqtt.session import TRANSITIONS, Session, State
from underlid.mqtt.welcome import RECEIVE_MAXIMUM
from underlid.readings.values import RawMessage

NOW_MS = 1_780_000_000_000
STATUS = "underlid/v1/potting/sorrel-1/status"
WILL = Will(STATUS, b"offline", 1, True)
VERSIONS = (V311, V5)
Wanted = TypeVar("Wanted")


def a_session(grants: Grants = GRANTS) -> Session:
    return Session(grants, lambda: "made-up")


def connect(version: int = V311, user: str | None = "probes", **more: Any) -> Connect:
    fields: dict[str, Any] = {"client_id": "one", "password": SECRETS.get(user or "", "x").encode()}
    return Connect(version, user=user, **(fields | more))


def give(session: Session, *sent: Packet, version: int = V311) -> list[Event]:
    return session.receive(b"".join(encode(packet, version) for packet in sent), NOW_MS)


def serving(version: int = V311, **more: Any) -> Session:
    session = a_session()
    give(session, connect(version, **more), version=version)
    assert session.state is State.SERVING
    return session


def answers(events: Sequence[Event], version: int = V311) -> list[Any]:
    reader = PacketReader(version)
    return [
        packet for event in events if isinstance(event, Send) for packet in reader.feed(event.data)
    ]


def only(events: Sequence[Event], kind: type[Wanted]) -> Wanted:
    found = [event for event in events if isinstance(event, kind)]
    assert len(found) == 1, events
    return found[0]


def one_of_each(version: int) -> list[Packet]:
    end = [Authenticate()] if version == V5 else []
    acknowledges = (Kind.PUBACK, Kind.PUBREC, Kind.PUBREL, Kind.PUBCOMP)
    return [
        connect(version),
        Connack(0),
        reading(1),
        *(Acknowledge(kind, 1) for kind in acknowledges),
        Subscribe(1, (Subscription("a"),)),
        SubscribeAcknowledge(Kind.SUBACK, 1, (0,)),
        Unsubscribe(1, ("a",)),
        SubscribeAcknowledge(Kind.UNSUBACK, 1),
        Ping(Kind.PINGREQ),
        Ping(Kind.PINGRESP),
        Disconnect(),
        *end,
    ]


@pytest.mark.parametrize("version", VERSIONS)
def test_the_transition_table_is_the_whole_life(version: int) -> None:
    """Each packet in each state goes where the table says, or ends as a protocol error."""
    for state, packet in itertools.product(
        (State.AWAITING_CONNECT, State.SERVING), one_of_each(version)
    ):
        session = serving(version) if state is State.SERVING else a_session()
        if state is State.AWAITING_CONNECT and version == V5 and not isinstance(packet, Connect):
            continue  # before CONNECT the version is not known; 3.1.1 covers it
        events = give(session, packet, version=version)
        expected = TRANSITIONS.get((state, kind_of(packet)))
        if expected is None:
            assert only(events, Ended).ending is Ending.PROTOCOL_ERROR
            assert session.state is State.CLOSED
        else:
            assert session.state is expected


@pytest.mark.parametrize("version", VERSIONS)
def test_nothing_follows_from_a_closed_session(version: int) -> None:
    session = serving(version)
    give(session, Disconnect(), version=version)
    assert give(session, reading(1), version=version) == []
    assert session.end(Ending.LOST, "gone", NOW_MS) == []


@given(st.sampled_from(VERSIONS).flatmap(lambda v: st.tuples(st.just(v), st.lists(packets(v)))))
@settings(max_examples=200)
def test_no_packets_break_a_session(case: tuple[int, list[Packet]]) -> None:
    """Invariant: any valid packets after CONNECT give events; Ended comes once and last."""
    version, sent = case
    session = serving(version)
    events = give(session, *sent, version=version)
    ended = [index for index, event in enumerate(events) if isinstance(event, Ended)]
    assert ended in ([], [len(events) - 1])
    assert (session.state is State.CLOSED) == bool(ended)


@given(st.binary(max_size=300))
@settings(max_examples=300)
def test_no_bytes_break_a_session(data: bytes) -> None:
    """Invariant: a session takes any first bytes without an exception."""
    a_session().receive(data, NOW_MS)


# -- CONNECT ----------------------------------------------------------------------------------


@pytest.mark.parametrize("version", VERSIONS)
def test_connect_with_a_good_secret_is_let_in(version: int) -> None:
    events = give(a_session(), connect(version), version=version)
    assert only(events, Opened).owner == ("probes", "one")
    assert answers(events, version)[0].code == 0
    assert answers(events, version)[0].session_present is False


@pytest.mark.parametrize(
    ("user", "password"),
    [
        (None, None),
        ("probes", None),
        ("probes", b""),
        ("probes", b"wrong"),
        ("nobody", b"x"),
        ("", b""),
    ],
)
@pytest.mark.parametrize("version", VERSIONS)
def test_anonymous_and_wrong_secrets_are_refused(
    version: int, user: str | None, password: bytes | None
) -> None:
    events = give(a_session(), connect(version, user, password=password), version=version)
    assert answers(events, version)[0].code == (4 if version == V311 else Reason.BAD_CREDENTIALS)
    assert only(events, Ended).ending is Ending.CONNECT_REFUSED


def test_a_second_connect_ends_the_connection() -> None:
    """MQTT-3.1.0-2."""
    assert only(give(serving(), connect()), Ended).ending is Ending.PROTOCOL_ERROR


def test_an_unknown_protocol_level_gets_return_code_1() -> None:
    """MQTT-3.1.2-2 of 3.1.1."""
    events = a_session().receive(bytes.fromhex("100c00044d5154540602003c0000"), NOW_MS)
    assert answers(events)[0] == Connack(1)
    assert only(events, Ended).ending is Ending.CONNECT_REFUSED


def test_a_client_without_an_id_gets_one() -> None:
    """MQTT-3.1.3-6: assigned; MQTT 5 is told (MQTT-3.2.2-16)."""
    assert only(give(a_session(), connect(client_id="")), Opened).owner == ("probes", "made-up")
    told = answers(give(a_session(), connect(V5, client_id=""), version=V5), V5)[0]
    assert property_of(told.properties, Property.ASSIGNED_CLIENT_ID) == "made-up"


def test_a_client_without_an_id_that_wants_a_session_is_refused() -> None:
    """MQTT-3.1.3-8 of 3.1.1."""
    events = give(a_session(), connect(client_id="", clean_start=False))
    assert answers(events)[0] == Connack(2)


def test_a_client_id_of_128_characters_is_taken_and_129_is_not() -> None:
    assert only(give(a_session(), connect(client_id="x" * 128)), Opened)
    assert answers(give(a_session(), connect(client_id="x" * 129)))[0] == Connack(2)


def test_session_present_is_0_even_when_a_session_is_asked_for() -> None:
    """MQTT-3.2.2-2: no session is stored, so none is present."""
    for version in VERSIONS:
        events = give(a_session(), connect(version, clean_start=False), version=version)
        assert answers(events, version)[0].session_present is False


def test_connack_announces_the_limits() -> None:
    """Maximum QoS 1 (MQTT-3.2.2-9), session expiry 0 and the rest a v5 client must know."""
    told = dict(answers(give(a_session(), connect(V5), version=V5), V5)[0].properties)
    assert told == {
        Property.SESSION_EXPIRY_S: 0,
        Property.RECEIVE_MAXIMUM: RECEIVE_MAXIMUM,
        Property.MAXIMUM_QOS: 1,
        Property.MAXIMUM_PACKET_BYTES: PACKET_BYTES_MAX,
        Property.TOPIC_ALIAS_MAXIMUM: 0,
        Property.SUBSCRIPTION_IDS_AVAILABLE: 0,
        Property.SHARED_AVAILABLE: 0,
    }


def test_other_authentication_is_refused() -> None:
    """MQTT-4.12.0-1."""
    other = connect(V5, properties=((Property.AUTHENTICATION_METHOD, "SCRAM-SHA-1"),))
    told = answers(give(a_session(), other, version=V5), V5)[0]
    assert told.code == Reason.BAD_AUTHENTICATION_METHOD


@pytest.mark.parametrize(("version", "code"), [(V311, 5), (V5, Reason.NOT_AUTHORISED)])
def test_a_will_for_another_probe_is_refused(version: int, code: int) -> None:
    foreign = connect(version, "tansy-1", will=WILL)
    assert answers(give(a_session(), foreign, version=version), version)[0].code == code


def test_a_will_with_qos_2_is_refused_in_version_5() -> None:
    """MQTT-3.2.2-12."""
    wanted = connect(V5, will=Will(STATUS, b"offline", 2))
    told = answers(give(a_session(), wanted, version=V5), V5)[0]
    assert told.code == Reason.QOS_NOT_SUPPORTED


def test_keep_alive_allows_one_and_a_half_times_itself() -> None:
    """MQTT-3.1.2-24."""
    assert a_session().silence_allowed_s() == 5.0
    assert serving(keep_alive_s=60).silence_allowed_s() == 90.0
    assert serving(keep_alive_s=0).silence_allowed_s() is None


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


# -- the end ----------------------------------------------------------------------------------


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("ending", list(Ending))
def test_the_will_goes_out_where_the_ending_says_so(version: int, ending: Ending) -> None:
    """MQTT-3.1.2-8 and -10 of 3.1.1, MQTT-3.1.2-8 and 3.14.4-3 of 5."""
    ended = only(serving(version, will=WILL).end(ending, "It ends.", NOW_MS), Ended)
    expected = RawMessage(STATUS, b"offline", NOW_MS) if ending.publishes_will else None
    assert ended.will == expected


def test_a_normal_disconnect_takes_the_will_with_it() -> None:
    """MQTT-3.14.4-3: no will after DISCONNECT with code 0, the will after code 4."""
    for code, will in ((0, False), (4, True), (0x82, True)):
        ended = only(give(serving(V5, will=WILL), Disconnect(code), version=V5), Ended)
        assert (ended.will is not None) is will
    assert only(give(serving(will=WILL), Disconnect()), Ended).will is None


def test_a_refused_client_leaves_no_will() -> None:
    events = give(a_session(), connect(password=b"wrong", will=WILL))
    assert only(events, Ended).will is None


def test_a_version_5_client_is_told_why() -> None:
    """MQTT-4.13.1-1: the reason code of the error in a DISCONNECT."""
    for ending in Ending:
        told = answers(serving(V5).end(ending, "It ends.", NOW_MS), V5)
        assert [one.code for one in told] == ([] if ending.reason is None else [ending.reason])
        assert answers(serving().end(ending, "It ends.", NOW_MS)) == []


def test_malformed_bytes_end_the_connection_with_their_reason() -> None:
    """MQTT-4.13.1-1 and MQTT-4.8.0-1."""
    events = serving(V5).receive(b"\x00\x00", NOW_MS)
    assert answers(events, V5)[0].code == Reason.MALFORMED_PACKET
    assert only(events, Ended).ending is Ending.MALFORMED


def test_a_disconnect_cannot_ask_for_a_session_late() -> None:
    """MQTT 5.0, 3.14.2.2.2."""
    late = Disconnect(0, ((Property.SESSION_EXPIRY_S, 60),))
    assert only(give(serving(V5), late, version=V5), Ended).ending is Ending.PROTOCOL_ERROR
    early = serving(V5, properties=((Property.SESSION_EXPIRY_S, 60),))
    assert only(give(early, late, version=V5), Ended).ending is Ending.LEFT


def test_a_packet_larger_than_the_client_takes_is_not_sent() -> None:
    """MQTT-3.1.2-27 and -28: reasons are left out, and then the packet."""
    session = serving(V5, properties=((Property.MAXIMUM_PACKET_BYTES, 4),))
    assert (
        answers(session.end(Ending.STOPPED, "The service stops.", NOW_MS), V5)[0].properties == ()
    )


def test_changed_secrets_send_away_and_new_ones_do_not() -> None:
    session = serving(user="tansy-1")
    more = {user: secret_hash(secret) for user, secret in SECRETS.items()}
    assert session.regrant(Grants({**more, "quince-1": secret_hash("new")}), NOW_MS) == []
    changed = session.regrant(Grants({**more, "tansy-1": secret_hash("new")}), NOW_MS)
    assert only(changed, Ended).ending is Ending.SECRET_CHANGED


def test_a_new_grant_takes_a_probe_from_the_household() -> None:
    """Topics that were allowed before are asked about again."""
    session = serving()
    assert only(give(session, reading(1)), Arrived)
    more = {user: secret_hash(secret) for user, secret in SECRETS.items()}
    session.regrant(Grants({**more, "sorrel-1": secret_hash("own")}), NOW_MS)
    assert only(give(session, reading(2)), Ended).ending is Ending.NOT_AUTHORISED
