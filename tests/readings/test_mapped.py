"""Mappings: what they may say, and what becomes of messages of other firmware."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonpointer import JsonPointer

from underlid.pipeline import ingest
from underlid.readings.decode import decode
from underlid.readings.mapped import TOPICS_CACHED, Mappings
from underlid.readings.mapping import (
    MAPPINGS_MOST,
    VALUES_MOST,
    MappingError,
    PayloadMapping,
    check_together,
    mapping_from,
)
from underlid.readings.topic_filter import is_filter, matches, overlap
from underlid.readings.try_out import numbers_in, trouble_with, try_out
from underlid.readings.values import Admitted, RawMessage, RejectReason, TimeSource

AT_MS = 1_790_000_010_000
TOPIC = "allotment/Board 7/env"
BED = {"at": "/soil/temp", "channel": "bed_temp_c"}


def mapping(*values: dict[str, Any], **more: Any) -> PayloadMapping:
    fields: dict[str, Any] = {"filter": "allotment/+/env", "shed": "potting", "values": values}
    if not more.keys() & {"probe", "probe_at"}:
        fields["probe_level"] = 2
    return mapping_from("boards", fields | more)


def read(one: PayloadMapping, payload: Any, topic: str = TOPIC, **more: Any) -> Admitted:
    body = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return decode(RawMessage(topic, body, AT_MS, **more), Mappings({"boards": one}))


def values_of(one: PayloadMapping, payload: Any) -> dict[str, float]:
    (reading,) = read(one, payload).readings
    return reading.values


def reason_of(one: PayloadMapping, payload: Any) -> RejectReason:
    (refused,) = read(one, payload).rejected
    return refused.reason


def test_one_message_becomes_one_reading_in_units_of_ours() -> None:
    one = mapping(
        BED | {"unit": "degF"},
        {"at": "/air/0/rh", "channel": "headspace_rh_pct", "unit": "/"},
        {"at": "/mass", "channel": "bin_mass_kg", "unit": "g", "times": 10},
        {"at": "/ok", "channel": "lid_shut"},
        time_at="/when",
        seq_at="/n",
    )
    body = {"soil": {"temp": "68"}, "air": [{"rh": 0.91}], "mass": 250, "ok": True}
    (reading,) = read(one, body | {"when": 1790000000.5, "n": 12}).readings
    assert reading.probe == "board-7"
    assert reading.shed == "potting"
    assert (reading.taken_at_ms, reading.time_source) == (1_790_000_000_500, TimeSource.DEVICE)
    assert reading.seq == 12
    assert reading.values == pytest.approx(
        {"bed_temp_c": 20.0, "headspace_rh_pct": 91.0, "bin_mass_kg": 2.5, "lid_shut": 1.0}
    )


@pytest.mark.parametrize("payload", [b"22.4", b" 22.4\n", b'"22.4"', b"+22.4"])
def test_a_payload_may_be_a_bare_number(payload: bytes) -> None:
    assert values_of(mapping({"channel": "bed_temp_c"}), payload) == {"bed_temp_c": 22.4}


def test_a_list_gives_a_reading_for_each_item_and_each_probe() -> None:
    one = mapping({"at": "/t", "channel": "bed_temp_c"}, each_at="/nodes", probe_at="/id")
    admitted = read(one, {"nodes": [{"id": 3, "t": 20}, {"id": "B 4", "t": 21}, {"t": 22}]})
    assert [(r.probe, r.values["bed_temp_c"]) for r in admitted.readings] == [
        ("3", 20.0),
        ("b-4", 21.0),
    ]
    assert [one.reason for one in admitted.rejected] == [RejectReason.BAD_ID]
    whole = mapping({"at": "/t", "channel": "bed_temp_c"}, each_at="", time_at="/at", probe="x")
    times = [r.taken_at_ms for r in read(whole, [{"t": 1, "at": 1790000000}, {"t": 2}]).readings]
    assert times == [1_790_000_000_000, AT_MS]


@pytest.mark.parametrize(
    ("how", "said", "at_ms"),
    [
        ("s", 1790000000, 1_790_000_000_000),
        ("s", "1790000000", 1_790_000_000_000),
        ("ms", 1790000000123, 1_790_000_000_123),
        ("rfc3339", "2026-09-21T15:13:20+01:00", 1_790_000_000_000),
        ("s", None, AT_MS),
    ],
)
def test_time_is_read_as_the_mapping_says(how: str, said: object, at_ms: int) -> None:
    one = mapping(BED, time_at="/at", time_as=how)
    (reading,) = read(one, {"soil": {"temp": 20}, "at": said}).readings
    assert reading.taken_at_ms == at_ms


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"{", RejectReason.NOT_JSON),
        (b"", RejectReason.EMPTY),
        (b'{"other": 1}', RejectReason.EMPTY),
        (b'{"soil": {"temp": null}}', RejectReason.EMPTY),
        (b'{"soil": {"temp": "warm"}}', RejectReason.BAD_VALUE),
        (b'{"soil": {"temp": 1, "temp": 2}}', RejectReason.EMPTY),
        (b'{"soil": {"temp": true}}', RejectReason.BAD_VALUE),
        (b'{"soil": {"temp": 20}, "at": "noon"}', RejectReason.BAD_TIME),
        (b'{"soil": {"temp": 20}, "n": -1}', RejectReason.BAD_SEQ),
        (b" " * 65_537, RejectReason.TOO_LARGE),
    ],
)
def test_what_cannot_be_used_is_refused_with_its_reason(
    payload: bytes, reason: RejectReason
) -> None:
    assert reason_of(mapping(BED, time_at="/at", seq_at="/n"), payload) is reason


@pytest.mark.parametrize("how", ["s", "ms", "rfc3339"])
@pytest.mark.parametrize("said", [True, [], {}, "2026-09-21T15:13:20", "", 1e308 * 10, "x" * 99])
def test_no_time_that_cannot_be_read_is_guessed(how: str, said: object) -> None:
    body = json.dumps({"soil": {"temp": 20}, "at": said}).replace("Infinity", "1e999").encode()
    admitted = read(mapping(BED, time_at="/at", time_as=how), body)
    assert not admitted.readings
    assert admitted.rejected


@pytest.mark.parametrize("board", ["", "::", "state", "-", "x" * 65])
def test_a_topic_that_names_no_probe_is_refused(board: str) -> None:
    admitted = read(mapping(BED), {"soil": {"temp": 20}}, f"allotment/{board}/env")
    assert [one.reason for one in admitted.rejected] == [RejectReason.BAD_ID]


def test_what_a_broker_had_kept_is_no_news_unless_it_says_when() -> None:
    body = {"soil": {"temp": 20}, "at": 1790000000}
    assert read(mapping(BED), body, retained=True) == Admitted([], [], [], [])
    bare = read(mapping({"channel": "bed_temp_c"}), b"20", retained=True)
    assert bare == Admitted([], [], [], [])
    assert len(read(mapping(BED, time_at="/at"), body, retained=True).readings) == 1


def test_two_mappings_of_one_filter_each_take_what_they_find() -> None:
    both = Mappings(
        {
            "bed": mapping(BED),
            "air": mapping({"at": "/air", "channel": "shed_temp_c"}, probe="air-1"),
        }
    )
    message = RawMessage(TOPIC, b'{"soil": {"temp": 20}, "air": 12}', AT_MS)
    admitted = ingest([message], both)
    assert {one.probe: one.values for one in admitted.readings} == {
        "board-7": {"bed_temp_c": 20.0},
        "air-1": {"shed_temp_c": 12.0},
    }
    assert not ingest([RawMessage(TOPIC, b'{"air": 12}', AT_MS)], both).rejected
    assert both.filters == ("allotment/+/env",)


def test_topics_are_not_remembered_without_end() -> None:
    known = Mappings({"boards": mapping(BED)})
    for number in range(2 * TOPICS_CACHED):
        assert not known.covering(f"orchard/{number}")
    assert len(known._known) <= TOPICS_CACHED
    long = f"allotment/{'x' * 60_000}/env"
    assert known.covering(long)
    assert long not in known._known


def test_own_topics_are_read_as_ever_and_strangers_refused() -> None:
    own = RawMessage("underlid/v1/potting/tansy-1/json", b'{"bed_temp_c": 20}', AT_MS)
    stranger = RawMessage("allotment/env", b"{}", AT_MS)
    admitted = ingest([own, stranger], Mappings({"boards": mapping(BED)}))
    assert [one.probe for one in admitted.readings] == ["tansy-1"]
    assert [one.reason for one in admitted.rejected] == [RejectReason.BAD_TOPIC]


WRONG: list[tuple[dict[str, Any], str, str]] = [
    ({"filter": "#"}, "filter", "no topic of underlid/v1"),
    ({"filter": "+/v1/+/+/json"}, "filter", "no topic of underlid/v1"),
    ({"filter": "allotment/#/env"}, "filter", "one level"),
    ({"filter": "$SYS/#"}, "filter", "one level"),
    *(({"filter": f"a{bad}b/+"}, "filter", "one level") for bad in "\0\t\x7f\x85\uffff"),
    ({"filter": "a/b", "probe_level": 3}, "", "a level that the filter has"),
    ({"probe_at": "/id"}, "", "one way to find the probe"),
    ({"probe_level": None}, "", "one way to find the probe"),
    ({"shed": "Potting"}, "shed", "a-z"),
    ({"time_at": "when"}, "time_at", "JSON Pointer"),
    ({"time_at": "/~2"}, "time_at", "JSON Pointer"),
    ({"time_as": "h"}, "time_as", "'s'"),
    ({"values": []}, "values", "at least 1 item"),
    ({"values": [BED, BED]}, "", "every channel once"),
    ({"values": [BED | {"unit": "%RH"}]}, "values.0.unit", "one of the units of bed_temp_c"),
    ({"values": [BED | {"channel": "Bed"}]}, "values.0.channel", "a channel like"),
    ({"values": [BED | {"times": 0}]}, "values.0.times", "a factor"),
    ({"values": [BED | {"times": float("nan")}]}, "values.0.times", "a factor"),
    (
        {"values": [{"channel": f"c{n}"} for n in range(VALUES_MOST + 1)]},
        "values",
        "at most 32 items",
    ),
    ({"example": "x" * 4097}, "example", "at most 4096"),
    ({"example_topic": "orchard/1"}, "", "whose topic the filter matches"),
    ({"colour": "red"}, "colour", ""),
]


@pytest.mark.parametrize(("change", "field", "said"), WRONG)
def test_a_mapping_that_makes_no_sense_is_refused_in_words(
    change: dict[str, Any], field: str, said: str
) -> None:
    fields = {"filter": "allotment/+/env", "shed": "potting", "probe_level": 2, "values": [BED]}
    with pytest.raises(MappingError) as refused:
        mapping_from("boards", fields | change)
    assert refused.value.field == field
    assert said in str(refused.value)


def test_mappings_that_a_broker_would_send_one_message_twice_for_are_refused() -> None:
    check_together({"one": mapping(BED), "two": mapping(BED, probe="x")})
    with pytest.raises(MappingError, match="without a topic in common"):
        check_together({"one": mapping(BED), "two": mapping(BED, filter="+/3/#")})
    with pytest.raises(MappingError, match="at most 100"):
        check_together({str(n): mapping(BED) for n in range(MAPPINGS_MOST + 1)})


def test_a_mapping_is_tried_on_its_example() -> None:
    example = {"example_topic": TOPIC, "example": '{"soil": {"temp": 20}}'}
    tried = try_out("boards", mapping(BED, **example), AT_MS)
    assert tried is not None
    assert tried.readings[0].values == {"bed_temp_c": 20.0}
    assert trouble_with("boards", mapping(BED, **example), AT_MS) is None
    torn = mapping(BED, **(example | {"example": "{"}))
    assert "JSON" in (trouble_with("boards", torn, AT_MS) or "")
    assert try_out("boards", mapping(BED), AT_MS) is None


def test_what_is_nested_beyond_reason_is_not_looked_into() -> None:
    for depth, found in ((20, 1), *((deep, 0) for deep in range(500, 1000, 5))):
        assert len(numbers_in(b"[" * depth + b"1" + b"]" * depth)) == found


keys = st.text(st.sampled_from('ab/~0 1é"{'), max_size=3)
documents = st.recursive(
    st.integers(-9, 9) | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=3),
    lambda inside: st.lists(inside, max_size=3) | st.dictionaries(keys, inside, max_size=3),
    max_leaves=12,
)


@given(documents)
def test_every_number_is_where_its_pointer_says(document: Any) -> None:
    payload = json.dumps(document).encode()
    for at, number in numbers_in(payload):
        assert float(JsonPointer(at).resolve(document)) == number
        (target,) = mapping({"at": at, "channel": "c"}).values
        one = mapping(target.model_dump())
        assert values_of(one, payload) == {"c": number}


@given(st.binary(max_size=60) | documents.map(lambda one: json.dumps(one).encode()), st.booleans())
def test_any_payload_gives_readings_or_a_refusal(payload: bytes, listed: bool) -> None:
    one = mapping(
        {"at": "/a", "channel": "bed_temp_c"},
        {"at": "/0", "channel": "c"},
        each_at="" if listed else None,
        probe_at="/b",
        time_at="/a/b",
    )
    admitted = read(one, payload)
    assert admitted.readings or admitted.rejected


levels = st.lists(st.sampled_from(["a", "b", ""]), min_size=1, max_size=4)
filters = st.tuples(
    st.lists(st.sampled_from(["a", "b", "+", ""]), min_size=1, max_size=4), st.booleans()
).map(lambda made: "/".join([*made[0], "#"] if made[1] else made[0]))


@given(filters, filters, levels)
def test_filters_that_match_one_topic_overlap(one: str, other: str, topic: list[str]) -> None:
    text = "/".join(topic)
    if text and one and other:
        assert is_filter(one)
        assert overlap(one, other) == overlap(other, one)
        if matches(one, text) and matches(other, text):
            assert overlap(one, other)
