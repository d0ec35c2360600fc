"""The life of a connection as a pure state machine, and what the standard demands of it."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mqtt.loopback import SECRETS, reading
from mqtt.packet_strategies import packets
from mqtt.sessions import (
    NOW_MS,
    STATUS,
    VERSIONS,
    WILL,
    a_session,
    answers,
    connect,
    give,
    only,
    serving,
)
from underlid.mqtt.decoding import PACKET_BYTES_MAX
from underlid.mqtt.endings import Ending
from underlid.mqtt.events import (
    Arrived,
    Ended,
    Opened,
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
    Reason,
    Subscribe,
    SubscribeAcknowledge,
    Subscription,
    Unsubscribe,
    Will,
    kind_of,
    property_of,
)
from underlid.mqtt.session import TRANSITIONS, State
from underlid.mqtt.welcome import RECEIVE_MAXIMUM
from underlid.readings.values import RawMessage


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
    session = serving(user="tansy-1")
    del more["tansy-1"]
    assert only(session.regrant(Grants(more), NOW_MS), Ended).ending is Ending.SECRET_CHANGED


def test_a_new_grant_takes_a_probe_from_the_household() -> None:
    """Topics that were allowed before are asked about again."""
    session = serving()
    assert only(give(session, reading(1)), Arrived)
    more = {user: secret_hash(secret) for user, secret in SECRETS.items()}
    session.regrant(Grants({**more, "sorrel-1": secret_hash("own")}), NOW_MS)
    assert only(give(session, reading(2)), Ended).ending is Ending.NOT_AUTHORISED
