"""Who may come in, publish and subscribe; the topics out; the confirmations."""

from __future__ import annotations

import itertools
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mqtt.loopback import GRANTS
from underlid.mqtt.confirm import RANGES_MAX, confirmed, merged, payloads
from underlid.mqtt.outward import (
    alert_topic,
    confirm_topic,
    filters_for,
    is_outward,
    served_filter,
    state_topic,
)
from underlid.mqtt.readers import RETAINED_MAX, Readers
from underlid.readings.values import Reading

V1 = "underlid/v1/potting"


@pytest.mark.parametrize(
    ("user", "topic", "allowed"),
    [
        ("probes", f"{V1}/sorrel-1/json", True),
        ("probes", f"{V1}/sorrel-1/value/bed_temp_c", True),
        ("probes", f"{V1}/entry", True),
        ("probes", f"{V1}/tansy-1/json", False),
        ("probes", f"{V1}/tansy-1/status", False),
        ("probes", f"{V1}/tansy-1/value/bed_temp_c", False),
        ("probes", f"{V1}/state/tansy", False),
        ("probes", f"{V1}/alert", False),
        ("probes", f"{V1}/sorrel-1/confirm", False),
        ("probes", "$SYS/broker", False),
        ("probes", "greenhouse/sensor", True),
        ("probes", f"{V1}/Sorrel 1/json", True),
        ("tansy-1", f"{V1}/tansy-1/json", True),
        ("tansy-1", "underlid/v1/boiler/tansy-1/senml", True),
        ("tansy-1", f"{V1}/sorrel-1/json", False),
        ("tansy-1", f"{V1}/entry", False),
        ("tansy-1", f"{V1}/tansy-1/confirm", False),
        ("tansy-1", "greenhouse/tansy-1", False),
        ("keeper", f"{V1}/keeper/json", False),
        ("keeper", f"{V1}/entry", False),
    ],
)
def test_who_may_publish_where(user: str, topic: str, allowed: bool) -> None:
    assert GRANTS.may_publish(user, topic) is allowed


@pytest.mark.parametrize(
    ("user", "topic_filter", "allowed"),
    [
        ("keeper", "underlid/v1/+/state/#", True),
        ("keeper", "underlid/v1/+/state/+", True),
        ("keeper", f"{V1}/state/tansy", True),
        ("keeper", f"{V1}/alert", True),
        ("keeper", "underlid/v1/+/+/confirm", True),
        ("keeper", "#", False),
        ("keeper", "underlid/#", False),
        ("keeper", f"{V1}/#", False),
        ("keeper", f"{V1}/+/json", False),
        ("keeper", "underlid/v1//alert", False),
        ("probes", "underlid/v1/+/+/confirm", True),
        ("probes", f"{V1}/sorrel-1/confirm", True),
        ("probes", f"{V1}/state/tansy", False),
        ("tansy-1", f"{V1}/tansy-1/confirm", True),
        ("tansy-1", "underlid/v1/+/tansy-1/confirm", True),
        ("tansy-1", "underlid/v1/+/+/confirm", False),
        ("tansy-1", f"{V1}/sorrel-1/confirm", False),
        ("tansy-1", f"{V1}/alert", False),
    ],
)
def test_who_may_subscribe_to_what(user: str, topic_filter: str, allowed: bool) -> None:
    assert GRANTS.may_subscribe(user, topic_filter) is allowed


def test_nobody_comes_in_without_user_and_secret() -> None:
    assert GRANTS.admits("probes", b"household-secret")
    for user, secret in (
        (None, b"x"),
        ("probes", None),
        ("probes", b""),
        ("probes", b"x"),
        ("", b""),
    ):
        assert not GRANTS.admits(user, secret)


SHEDS = st.sampled_from(("potting", "boiler"))
SUBJECTS = st.sampled_from(("tansy", "sorrel-1"))
OUT = st.one_of(
    st.builds(state_topic, SHEDS, SUBJECTS),
    st.builds(alert_topic, SHEDS),
    st.builds(confirm_topic, SHEDS, SUBJECTS),
)


def matches(topic_filter: str, topic: str) -> bool:
    """MQTT matching, level by level, as the standard describes it."""
    wanted, there = topic_filter.split("/"), topic.split("/")
    for index, level in enumerate(wanted):
        if level == "#":
            return True
        if index >= len(there) or level not in ("+", there[index]):
            return False
    return len(wanted) == len(there)


@given(OUT, st.data())
def test_the_listed_filters_are_those_that_match(topic: str, data: st.DataObject) -> None:
    """Invariant: a served filter matches a topic exactly if `filters_for` lists it."""
    assert is_outward(topic)
    levels = [data.draw(st.sampled_from((level, "+"))) for level in topic.split("/")[2:]]
    some = "underlid/v1/" + "/".join(levels)
    listed = list(filters_for(topic))
    assert all(matches(one, topic) and served_filter(one) for one in listed)
    if served_filter(some) and matches(some, topic):
        kinds = {served_filter(some).kind, served_filter(listed[0]).kind}  # type: ignore[union-attr]
        assert some in listed or len(kinds) == 2


def test_readers_are_found_once_with_all_their_filters() -> None:
    readers: Readers[str] = Readers()
    readers.add("ash", ["underlid/v1/+/state/#", f"{V1}/state/tansy"])
    readers.add("robin", [f"{V1}/state/sorrel"])
    assert list(readers.of(f"{V1}/state/tansy")) == ["ash"]
    assert len(readers.of(f"{V1}/state/tansy")["ash"]) == 2
    readers.remove("ash", ["underlid/v1/+/state/#", f"{V1}/state/tansy", "never"])
    assert not readers.of(f"{V1}/state/tansy")
    readers.remove("robin", [f"{V1}/state/sorrel"])
    assert not readers


def test_retained_states_are_kept_replaced_forgotten_and_bounded() -> None:
    readers: Readers[str] = Readers()
    for number in range(RETAINED_MAX):
        assert readers.keep(state_topic("potting", f"b{number}"), b"{}")
    assert not readers.keep(state_topic("potting", "one-more"), b"{}")
    assert readers.keep(state_topic("potting", "b0"), b"new")
    assert readers.keep(state_topic("potting", "b1"), b"")
    assert readers.keep(state_topic("potting", "one-more"), b"{}")
    assert readers.retained_for([f"{V1}/state/b0", f"{V1}/state/b1"]) == [f"{V1}/state/b0"]
    assert readers.retained_for([]) == []


@given(st.sets(st.integers(-5, 60)))
def test_ranges_hold_exactly_their_numbers(numbers: set[int]) -> None:
    """Invariant: the ranges cover the numbers, no others, and none touches the next."""
    ranges = merged(numbers)
    assert {n for first, last in ranges for n in range(first, last + 1)} == numbers
    assert all(one[1] + 1 < other[0] for one, other in itertools.pairwise(ranges))


def numbered(probe: str, seq: int | None) -> Reading:
    return Reading(probe, "potting", 1, 1, {"bed_temp_c": 20.0}, seq=seq)


def test_confirmations_are_per_probe_and_only_for_numbers() -> None:
    stored = [numbered("a", 3), numbered("b", 9), numbered("a", 4), numbered("a", None)]
    found = confirmed(stored)
    assert found == {("potting", "a"): [(3, 4)], ("potting", "b"): [(9, 9)]}


def test_many_ranges_are_split_over_messages_that_fit() -> None:
    ranges = [(10**15 + 2 * n, 10**15 + 2 * n) for n in range(2 * RANGES_MAX + 1)]
    sent = list(payloads(ranges))
    assert len(sent) == 3
    assert all(len(one) < 64 * 1024 for one in sent)
    told = [pair for one in sent for pair in json.loads(one)["ranges"]]
    assert told == [list(one) for one in ranges]
