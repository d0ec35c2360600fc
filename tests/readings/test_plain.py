"""Plain JSON, bare numbers, status and journal entries, by topic."""

from __future__ import annotations

import msgspec
import pytest

from underlid.readings.decode import Decoded, decode
from underlid.readings.values import ProbeStatus, RawMessage, RejectReason, TimeSource

RECEIVED_MS = 1_800_000_000_000
PROBE = "underlid/v1/potting/tansy-1"


def send(topic: str, payload: bytes) -> Decoded:
    return decode(RawMessage(topic, payload, RECEIVED_MS))


def send_json(value: object) -> Decoded:
    return send(f"{PROBE}/json", msgspec.json.encode(value))


def reasons(decoded: Decoded) -> set[RejectReason]:
    return {rejected.reason for rejected in decoded.rejected}


def test_an_object_becomes_a_reading() -> None:
    decoded = send_json(
        {"ts": 1.79e9, "bed_temp_c": 22.4, "soil_raw": 1843, "co2": 600, "fan": True, "seq": 7}
    )
    (reading,) = decoded.readings
    assert (reading.probe, reading.shed) == ("tansy-1", "potting")
    assert (reading.taken_at_ms, reading.received_at_ms) == (1_790_000_000_000, RECEIVED_MS)
    assert reading.values == {"bed_temp_c": 22.4, "soil_raw": 1843.0, "co2": 600.0, "fan": 1.0}
    assert (reading.time_source, reading.seq) == (TimeSource.DEVICE, 7)
    assert not decoded.rejected


@pytest.mark.parametrize(
    "ts",
    [1790000000, 1790000000.0, "2026-09-21T14:13:20Z", "2026-09-21T15:13:20+01:00", "1790000000"],
)
def test_forms_of_time(ts: object) -> None:
    assert send_json({"ts": ts, "bed_temp_c": 1}).readings[0].taken_at_ms == 1_790_000_000_000


@pytest.mark.parametrize("ts", [True, "noon", "2026-09-21T14:13:20", [1], "٣", "1" * 100])
def test_a_time_that_cannot_be_read_costs_its_object_but_not_the_others(ts: object) -> None:
    decoded = send_json([{"ts": ts, "bed_temp_c": 1}, {"ts": 1.79e9, "bed_temp_c": 2}])
    assert [reading.values["bed_temp_c"] for reading in decoded.readings] == [2.0]
    assert reasons(decoded) == {RejectReason.BAD_TIME}


def test_null_means_that_the_sensor_did_not_answer() -> None:
    decoded = send_json({"ts": None, "bed_temp_c": None, "lid_temp_c": 20})
    assert decoded.readings[0].values == {"lid_temp_c": 20.0}
    assert not decoded.rejected
    assert reasons(send_json({"bed_temp_c": None})) == {RejectReason.EMPTY}


@pytest.mark.parametrize(
    ("field", "reason"),
    [
        ({"bed_temp_c": "22.4"}, RejectReason.BAD_VALUE),
        ({"bed_temp_c": True}, RejectReason.BAD_VALUE),
        ({"bed_temp_c": [22.4]}, RejectReason.BAD_VALUE),
        ({"Bed Temp": 22.4}, RejectReason.BAD_CHANNEL),
        ({"x" * 33: 22.4}, RejectReason.BAD_CHANNEL),
        ({"": 22.4}, RejectReason.BAD_CHANNEL),
        ({"seq": -1}, RejectReason.BAD_SEQ),
        ({"seq": 2**53}, RejectReason.BAD_SEQ),
        ({"seq": "7"}, RejectReason.BAD_SEQ),
    ],
)
def test_a_bad_field_does_not_cost_its_neighbours(
    field: dict[str, object], reason: RejectReason
) -> None:
    decoded = send_json({**field, "lid_temp_c": 20})
    assert decoded.readings[0].values == {"lid_temp_c": 20.0}
    assert decoded.readings[0].seq is None
    assert reasons(decoded) == {reason}


def test_the_limits_of_an_object_and_an_array() -> None:
    assert len(send_json({f"x{i}": i for i in range(64)}).readings[0].values) == 64
    too_many = {RejectReason.TOO_MANY_CHANNELS}
    assert reasons(send_json({f"x{i}": i for i in range(65)})) == too_many
    assert reasons(send_json({f"x{i}": i for i in range(99)})) == too_many
    row = {"bed_temp_c": 1}
    assert len(send_json([row] * 512).readings) == 512
    assert reasons(send_json([row] * 513)) == {RejectReason.TOO_MANY_RECORDS}
    assert reasons(send_json([])) == {RejectReason.EMPTY}
    assert reasons(send_json({})) == {RejectReason.EMPTY}


def test_a_payload_over_64_kib_is_refused_and_only_its_beginning_kept() -> None:
    payload = b'{"bed_temp_c": 1}'.ljust(64 * 1024)
    assert send(f"{PROBE}/json", payload).readings
    (rejected,) = send(f"{PROBE}/json", payload + b" ").rejected
    assert rejected.reason is RejectReason.TOO_LARGE
    assert len(rejected.message.payload) == 4096


@pytest.mark.parametrize(
    "payload",
    [
        b'{"bed_temp_c":1,"bed_temp_c":2}',
        b'{"bed_temp_c" : 1, "bed_temp_c"\n:2}',
        b'{"bed_temp_c":1,"bed_temp_c"\t:2,"note":"a:b"}',
        b'{"bed_temp_c":1,"bed\\u005ftemp_c":2}',
    ],
)
def test_a_name_twice_costs_its_object_but_not_the_others(payload: bytes) -> None:
    assert not send(f"{PROBE}/json", payload).readings
    decoded = send(f"{PROBE}/json", b"[" + payload + b',{"lid_temp_c":20}]')
    assert [reading.values for reading in decoded.readings] == [{"lid_temp_c": 20.0}]
    assert reasons(decoded) == {RejectReason.NOT_JSON}


@pytest.mark.parametrize("payload", [b"22.4", b" 22.40\r\n", b"+22.4", b"2.24e1", b"22.4\n"])
def test_a_bare_number(payload: bytes) -> None:
    decoded = send(f"{PROBE}/value/bed_temp_c", payload)
    (reading,) = decoded.readings
    assert reading.values == {"bed_temp_c": 22.4}
    assert (reading.taken_at_ms, reading.time_source) == (RECEIVED_MS, TimeSource.RECEIPT)


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", RejectReason.EMPTY),
        (b" \n", RejectReason.EMPTY),
        (b"nan", RejectReason.BAD_VALUE),
        (b"1e999", RejectReason.BAD_VALUE),
        (b"1_000", RejectReason.BAD_VALUE),
        (b"22.4 C", RejectReason.BAD_VALUE),
        ("٢٢".encode(), RejectReason.BAD_VALUE),
        (b"1" * 65, RejectReason.BAD_VALUE),
        (b"\xff", RejectReason.BAD_VALUE),
    ],
)
def test_no_bare_number(payload: bytes, reason: RejectReason) -> None:
    decoded = send(f"{PROBE}/value/bed_temp_c", payload)
    assert not decoded.readings
    assert reasons(decoded) == {reason}


def test_a_status_is_one_of_two_words() -> None:
    assert send(f"{PROBE}/status", b"online").statuses == [
        ProbeStatus("tansy-1", "potting", True, RECEIVED_MS)
    ]
    assert not send(f"{PROBE}/status", b"offline").statuses[0].online
    for payload in (b"", b"Online", b"online\n", b"\xff"):
        assert reasons(send(f"{PROBE}/status", payload)) == {RejectReason.BAD_STATUS}


def test_an_entry_is_an_object_and_nothing_more_is_asked_here() -> None:
    (entry,) = send("underlid/v1/potting/entry", b'{"bin": "tansy", "kind": "feed"}').entries
    assert (entry.shed, entry.fields) == ("potting", {"bin": "tansy", "kind": "feed"})
    for payload in (b"[]", b"5", b'{"bin":"a","bin":"b"}', b'{"a":' + b"[" * 99 + b"]" * 99 + b"}"):
        assert reasons(send("underlid/v1/potting/entry", payload)) == {RejectReason.BAD_ENTRY}
    assert reasons(send("underlid/v1/potting/entry", b"feed")) == {RejectReason.NOT_JSON}


@pytest.mark.parametrize(
    ("topic", "reason"),
    [
        ("", RejectReason.BAD_TOPIC),
        ("underlid/v1", RejectReason.BAD_TOPIC),
        ("underlid/v2/potting/tansy-1/json", RejectReason.BAD_TOPIC),
        ("underlid/v1/potting/tansy-1", RejectReason.BAD_TOPIC),
        ("underlid/v1/potting/tansy-1/xml", RejectReason.BAD_TOPIC),
        ("underlid/v1/potting/tansy-1/json/", RejectReason.BAD_TOPIC),
        ("underlid/v1/potting/tansy-1/json\n", RejectReason.BAD_TOPIC),
        ("underlid/v1/potting/state/json", RejectReason.BAD_TOPIC),
        ("underlid/v1/potting/alert", RejectReason.BAD_TOPIC),
        ("underlid/v1/Potting/tansy-1/json", RejectReason.BAD_ID),
        ("underlid/v1//tansy-1/json", RejectReason.BAD_ID),
        ("underlid/v1/potting/-tansy/json", RejectReason.BAD_ID),
        ("underlid/v1/potting/" + "t" * 65 + "/value/bed_temp_c", RejectReason.BAD_ID),
        ("underlid/v1/potting/tansy-1/value/Bed", RejectReason.BAD_CHANNEL),
        ("underlid/v1/potting/tansy-1/value/", RejectReason.BAD_CHANNEL),
    ],
)
def test_topics_that_are_not_ours(topic: str, reason: RejectReason) -> None:
    decoded = send(topic, b'{"bed_temp_c": 22.4}')
    assert not decoded.readings
    assert reasons(decoded) == {reason}


def test_an_array_may_not_smuggle_in_channels_without_end() -> None:
    decoded = send_json([{f"x{i}": i} for i in range(65)])
    assert not decoded.readings
    assert reasons(decoded) == {RejectReason.TOO_MANY_CHANNELS}


@pytest.mark.parametrize(
    ("topic", "payload", "says"),
    [
        (f"{PROBE}/json", b'{"bed_temp_c": }', "is '{\"bed_temp_c\": }', expected JSON"),
        (f"{PROBE}/value/bed_temp_c", b"22,4", "is '22,4', expected a bare number"),
        (f"{PROBE}/value/bed_temp_c", "22 °C".encode(), "is '22 °C', expected a bare number"),
        (f"{PROBE}/status", b"on", "status is 'on', expected online"),
        (f"{PROBE}/value/bed_temp_c", b"\xff\xfe", "is b'\\xff\\xfe', expected a bare number"),
        (f"{PROBE}/json", b"x" * 39 + "°".encode(), f"is '{'x' * 39}', expected JSON"),
    ],
)
def test_a_refusal_shows_a_payload_as_the_text_it_is(topic: str, payload: bytes, says: str) -> None:
    (rejected,) = send(topic, payload).rejected
    assert says in rejected.sentence
