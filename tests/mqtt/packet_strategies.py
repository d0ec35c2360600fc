"""Hypothesis strategies for every packet that the standard allows."""

from __future__ import annotations

from hypothesis import strategies as st

from underlid.mqtt.decoding import FILTERS_MAX
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
    Properties,
    Property,
    PropertyValue,
    Publish,
    Subscribe,
    SubscribeAcknowledge,
    Subscription,
    Unsubscribe,
    Will,
)
from underlid.mqtt.properties import RULES, WILL, Type

texts = st.text(st.characters(exclude_characters="\0", codec="utf-8"), max_size=12)
names = st.text(st.characters(exclude_characters="\0+#", codec="utf-8"), min_size=1, max_size=12)
binaries = st.binary(max_size=20)
ids = st.integers(1, 65535)
codes = st.integers(0, 255)
qualities = st.integers(0, 2)


def _values(name: Property) -> st.SearchStrategy[PropertyValue]:
    rule = RULES[name]
    least = 0 if rule.zero else 1
    whole: dict[Type, st.SearchStrategy[PropertyValue]] = {
        Type.FLAG: st.integers(0, 1),
        Type.TWO_BYTES: st.integers(least, 65535),
        Type.FOUR_BYTES: st.integers(least, 2**32 - 1),
        Type.VARIABLE: st.integers(least, 268_435_455),
        Type.TEXT: texts,
        Type.BINARY: binaries,
        Type.PAIR: st.tuples(texts, texts),
    }
    return whole[rule.type]


def properties(packet: int, version: int) -> st.SearchStrategy[Properties]:
    allowed = [name for name, rule in RULES.items() if packet in rule.packets]
    if version != V5 or not allowed:
        return st.just(())
    one = st.sampled_from(allowed).flatmap(lambda name: st.tuples(st.just(name), _values(name)))
    return st.lists(one, max_size=5, unique_by=lambda pair: pair[0]).map(tuple)


def packets(version: int) -> st.SearchStrategy[Packet]:
    def of(kind: int) -> st.SearchStrategy[Properties]:
        return properties(kind, version)

    end_code = codes if version == V5 else st.just(0)
    will = st.builds(Will, names, binaries, qualities, st.booleans(), of(WILL))
    user = texts.map(lambda text: text or "x")
    connect = st.builds(
        Connect,
        st.just(version),
        texts,
        st.booleans(),
        st.integers(0, 65535),
        user,
        st.none() | binaries,
        st.none() | will,
        of(Kind.CONNECT),
    )
    plain_subscription = st.builds(Subscription, texts, qualities)
    subscription = st.builds(
        Subscription, texts, qualities, st.booleans(), st.booleans(), qualities
    )
    subscriptions = st.lists(
        subscription if version == V5 else plain_subscription, min_size=1, max_size=FILTERS_MAX
    ).map(tuple)
    publish = st.one_of(
        st.builds(
            Publish, names, binaries, st.just(0), st.just(0), st.booleans(), properties=of(3)
        ),
        st.builds(
            Publish, names, binaries, st.integers(1, 2), ids, st.booleans(), st.booleans(), of(3)
        ),
    )
    acknowledge_kinds = (Kind.PUBACK, Kind.PUBREC, Kind.PUBREL, Kind.PUBCOMP)
    several: list[st.SearchStrategy[Packet]] = [
        connect,
        publish,
        st.builds(Connack, codes, st.booleans(), of(Kind.CONNACK)),
        st.builds(Subscribe, ids, subscriptions, of(Kind.SUBSCRIBE)),
        st.builds(
            Unsubscribe,
            ids,
            st.lists(texts, min_size=1, max_size=FILTERS_MAX).map(tuple),
            of(Kind.UNSUBSCRIBE),
        ),
        st.builds(Ping, st.sampled_from((Kind.PINGREQ, Kind.PINGRESP))),
        st.builds(Disconnect, end_code, of(Kind.DISCONNECT)),
    ]
    several += [
        st.builds(Acknowledge, st.just(kind), ids, end_code, of(kind)) for kind in acknowledge_kinds
    ]
    several += [
        st.builds(SubscribeAcknowledge, st.just(kind), ids, st.lists(codes).map(tuple), of(kind))
        for kind in (Kind.SUBACK, Kind.UNSUBACK)
    ]
    if version == V5:
        several.append(st.builds(Authenticate, codes, of(Kind.AUTH)))
    return st.one_of(several)


versions = st.sampled_from((V311, V5))
