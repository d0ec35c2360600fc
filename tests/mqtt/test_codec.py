"""The codec: what is written is read again, and no bytes whatever break it."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mqtt.packet_strategies import packets, versions
from underlid.mqtt.decoding import PACKET_BYTES_MAX, PacketReader
from underlid.mqtt.encoding import encode, fitting
from underlid.mqtt.fields import write_variable_integer
from underlid.mqtt.packets import (
    V5,
    V311,
    Acknowledge,
    Connect,
    Kind,
    Malformed,
    Packet,
    Ping,
    Property,
    Publish,
    Reason,
)


@given(versions.flatmap(lambda version: st.tuples(st.just(version), st.lists(packets(version)))))
@settings(max_examples=300)
def test_packets_survive_the_wire(case: tuple[int, list[Packet]]) -> None:
    """Invariant: decode(encode(packets)) == packets."""
    version, sent = case
    stream = b"".join(encode(packet, version) for packet in sent)
    assert PacketReader(version).feed(stream) == sent


@given(
    versions.flatmap(
        lambda version: st.tuples(
            st.just(version), st.lists(packets(version), max_size=4), st.lists(st.integers(1, 9))
        )
    )
)
@settings(max_examples=100)
def test_how_a_stream_is_cut_does_not_matter(case: tuple[int, list[Packet], list[int]]) -> None:
    """Invariant: the packets are the same wherever the reads end."""
    version, sent, cuts = case
    stream = b"".join(encode(packet, version) for packet in sent)
    reader, found, position = PacketReader(version), [], 0
    for cut in [*cuts, len(stream)]:
        found += reader.feed(stream[position : position + cut])
        position += cut
    assert found == sent
    assert not reader.holds_part()


@given(versions, st.lists(st.binary(max_size=200), max_size=5))
@settings(max_examples=500)
def test_any_bytes_give_packets_or_one_malformed(version: int, parts: list[bytes]) -> None:
    """Invariant: never an exception, at most one Malformed, and nothing after it."""
    reader = PacketReader(version)
    found = [packet for part in parts for packet in reader.feed(part)]
    wrong = [index for index, packet in enumerate(found) if isinstance(packet, Malformed)]
    assert wrong in ([], [len(found) - 1])


@given(
    versions.flatmap(lambda version: st.tuples(st.just(version), packets(version))),
    st.integers(0, 200),
    st.binary(min_size=1, max_size=3),
)
@settings(max_examples=500)
def test_a_damaged_packet_never_raises(case: tuple[int, Packet], at: int, damage: bytes) -> None:
    """Invariant: a valid packet with other bytes in it is still read or refused, not a crash."""
    version, packet = case
    stream = bytearray(encode(packet, version))
    stream[at % len(stream) : at % len(stream) + len(damage)] = damage
    reader = PacketReader(version)
    for item in reader.feed(bytes(stream)) + reader.feed(bytes(300)):
        assert isinstance(item, Malformed | Packet)


HOSTILE = {
    "packet type 0": (V311, "0000", Reason.MALFORMED_PACKET),
    "remaining length of five bytes": (V311, "30ffffffff01", Reason.MALFORMED_PACKET),
    "remaining length written too long": (V311, "c08000", Reason.MALFORMED_PACKET),
    "a packet of 256 MiB": (V311, "30ffffff7f", Reason.PACKET_TOO_LARGE),
    "publish with QoS 3": (V311, "3606000161000178", Reason.MALFORMED_PACKET),
    "publish QoS 0 with the duplicate flag": (V311, "380400016178", Reason.MALFORMED_PACKET),
    "publish without a topic length": (V311, "300100", Reason.MALFORMED_PACKET),
    "publish with an empty topic": (V311, "3003000078", Reason.TOPIC_NAME_INVALID),
    "publish to a wildcard": (V311, "300400012378", Reason.TOPIC_NAME_INVALID),
    "publish whose topic is longer than itself": (V311, "3004ffff6178", Reason.MALFORMED_PACKET),
    "publish with packet id 0": (V311, "32060001610000 78", Reason.PROTOCOL_ERROR),
    "publish QoS 1 without packet id": (V311, "3203000161", Reason.MALFORMED_PACKET),
    "topic with U+0000": (V311, "30050002610078", Reason.MALFORMED_PACKET),
    "topic with a surrogate": (V311, "30060003eda08078", Reason.MALFORMED_PACKET),
    "topic that is overlong UTF-8": (V311, "30050002c0af78", Reason.MALFORMED_PACKET),
    "subscribe without filters": (V311, "82020001", Reason.PROTOCOL_ERROR),
    "subscribe with wrong flags": (V311, "80060001000161 00", Reason.MALFORMED_PACKET),
    "subscribe with QoS 3": (V311, "8206000100016103", Reason.MALFORMED_PACKET),
    "subscribe with options of version 5": (V311, "8206000100016104", Reason.MALFORMED_PACKET),
    "unsubscribe without filters": (V311, "a2020001", Reason.PROTOCOL_ERROR),
    "ping with a body": (V311, "c00100", Reason.MALFORMED_PACKET),
    "ping with flags": (V311, "c100", Reason.MALFORMED_PACKET),
    "disconnect with a body": (V311, "e00100", Reason.MALFORMED_PACKET),
    "auth in 3.1.1": (V311, "f000", Reason.MALFORMED_PACKET),
    "connect of 3.1": (V311, "100e00064d51497364700302003c0000", Reason.UNSUPPORTED_VERSION),
    "connect of level 6": (V311, "100c00044d5154540602003c0000", Reason.UNSUPPORTED_VERSION),
    "connect with the reserved flag": (V311, "100c00044d5154540403003c0000", None),
    "connect with will QoS but no will": (V311, "100c00044d515454040a003c0000", None),
    "connect with a password but no user": (
        V311,
        "100f00044d5154540442003c0000000161",
        Reason.MALFORMED_PACKET,
    ),
    "connect that ends too early": (V311, "100800044d5154540402", Reason.MALFORMED_PACKET),
    "connect with bytes behind it": (V311, "100e00044d5154540402003c00006161", None),
    "property twice": (V5, "3009000161040100010078", Reason.PROTOCOL_ERROR),
    "property of another packet": (V5, "30070001610224 0178", Reason.PROTOCOL_ERROR),
    "property that does not exist": (V5, "30070001610277 0178", Reason.MALFORMED_PACKET),
    "properties longer than the packet": (V5, "30050001617f78", Reason.MALFORMED_PACKET),
    "property flag of 2": (V5, "3007000161020102 78", Reason.PROTOCOL_ERROR),
    "subscription id 0": (V5, "820900010 20b0000016100", Reason.PROTOCOL_ERROR),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_packets_are_refused(name: str) -> None:
    version, text, reason = HOSTILE[name]
    found = PacketReader(version).feed(bytes.fromhex(text.replace(" ", "")))
    assert len(found) == 1
    problem = found[0]
    assert isinstance(problem, Malformed), problem
    assert reason is None or problem.reason is reason
    assert problem.sentence.endswith(".")


def test_packets_before_a_malformed_one_count() -> None:
    good = encode(Ping(Kind.PINGREQ), V311)
    found = PacketReader().feed(good + good + b"\x00\x00" + good)
    assert found[:2] == [Ping(Kind.PINGREQ)] * 2
    assert isinstance(found[2], Malformed)
    assert len(found) == 3


def test_the_largest_packet_is_read_and_one_byte_more_is_not() -> None:
    for size, good in ((PACKET_BYTES_MAX, True), (PACKET_BYTES_MAX + 1, False)):
        payload = bytes(size - 4 - 2 - 1)
        found = PacketReader().feed(encode(Publish("a", payload), V311))
        assert isinstance(found[0], Publish) is good


def test_a_long_packet_in_single_bytes_is_cheap() -> None:
    stream = encode(Publish("a", bytes(65000)), V311)
    reader = PacketReader()
    for at in range(len(stream) - 1):
        assert not reader.feed(stream[at : at + 1])
    assert reader.holds_part()
    assert len(reader.feed(stream[-1:])) == 1


def test_connect_sets_the_version_of_what_follows() -> None:
    late = Publish("a", b"x", properties=((Property.CONTENT_TYPE, "json"),))
    stream = encode(Connect(V5, "one"), V5) + encode(late, V5)
    assert PacketReader().feed(stream)[1] == late


def test_variable_integers_have_the_lengths_of_the_standard() -> None:
    """MQTT 5.0, table 1-1."""
    lengths = {127: 1, 128: 2, 16_383: 2, 16_384: 3, 2_097_151: 3, 2_097_152: 4, 268_435_455: 4}
    assert {n: len(write_variable_integer(n)) for n in lengths} == lengths
    with pytest.raises(ValueError, match="does not fit"):
        write_variable_integer(268_435_456)


def test_a_packet_too_large_for_the_client_loses_its_reason() -> None:
    told = Acknowledge(Kind.PUBACK, 7, Reason.NOT_AUTHORISED, ((Property.REASON_STRING, "no"),))
    assert fitting(told, V5, 100) == encode(told, V5)
    assert fitting(told, V5, 6) == bytes.fromhex("4003000787")
    assert fitting(told, V5, 4) is None
