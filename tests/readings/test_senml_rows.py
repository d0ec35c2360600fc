"""SenML packs -> readings: the rules of RFC 8428 section 4, CBOR, and bad records among good."""

from __future__ import annotations

import cbor2
import msgspec
import pytest

from underlid.readings.decode import Decoded, decode
from underlid.readings.values import RawMessage, RejectReason, TimeSource

RECEIVED_MS = 1_800_000_000_000
TOPIC = "underlid/v1/potting/tansy-1/senml"


def pack(*records: dict[str, object], topic: str = TOPIC) -> Decoded:
    return decode(RawMessage(topic, msgspec.json.encode(records), RECEIVED_MS))


def reasons(decoded: Decoded) -> set[RejectReason]:
    return {rejected.reason for rejected in decoded.rejected}


def test_a_pack_becomes_one_reading_per_instant() -> None:
    decoded = pack(
        {"bn": "tansy-1:", "bt": 1.79e9, "n": "bed-temp", "u": "Cel", "v": 22.4},
        {"n": "headspace-rh", "u": "%RH", "v": 91},
        {"n": "bed-temp", "u": "Cel", "t": 60, "v": 22.5},
        {"n": "seq", "v": 1234},
    )
    assert not decoded.rejected
    assert [(r.taken_at_ms, r.values, r.seq) for r in decoded.readings] == [
        (1_790_000_000_000, {"bed_temp_c": 22.4, "headspace_rh_pct": 91.0}, 1234),
        (1_790_000_060_000, {"bed_temp_c": 22.5}, 1234),
    ]


def test_each_instant_may_have_its_own_message_number() -> None:
    decoded = pack(
        {"bt": 1.79e9, "n": "bed-temp", "v": 22.4},
        {"n": "seq", "v": 7},
        {"n": "bed-temp", "t": 60, "v": 22.5},
        {"n": "seq", "t": 60, "v": 8},
    )
    assert [reading.seq for reading in decoded.readings] == [7, 8]


def test_a_bad_message_number_does_not_cost_the_reading() -> None:
    decoded = pack({"n": "bed-temp", "v": 22.4}, {"n": "seq", "v": 1.5})
    assert decoded.readings[0].seq is None
    assert reasons(decoded) == {RejectReason.BAD_SEQ}


def test_times_below_2_to_the_28_count_from_receipt() -> None:
    decoded = pack({"n": "bed-temp", "t": -90, "v": 22.4}, {"n": "bed-temp", "v": 22.5})
    assert [(r.taken_at_ms, r.time_source) for r in decoded.readings] == [
        (RECEIVED_MS - 90_000, TimeSource.RECEIPT),
        (RECEIVED_MS, TimeSource.RECEIPT),
    ]


def test_base_values_add_and_a_missing_value_counts_as_zero() -> None:
    decoded = pack(
        {"n": "bed-temp", "bv": 20, "v": 2.5},
        {"n": "lid-temp", "u": "Cel"},
        {"n": "mass", "bv": 0, "v": 21},
    )
    assert decoded.readings[0].values == {
        "bed_temp_c": 22.5,
        "lid_temp_c": 20.0,
        "bin_mass_kg": 21.0,
    }


def test_sums_are_understood_and_not_kept() -> None:
    decoded = pack(
        {"n": "water", "u": "m3", "s": 5.0, "bs": 1.0},
        {"n": "bed-temp", "v": 22.4, "ut": 60, "s": 3.0},
    )
    assert decoded.readings[0].values == {"bed_temp_c": 22.4}
    assert not decoded.rejected


def test_unknown_labels_are_ignored_but_not_those_that_demand_to_be_understood() -> None:
    assert pack({"n": "bed-temp", "v": 1.0, "colour": "red"}).readings
    for payload in (
        b'[{"n":"bed-temp","v":1.0,"x_":1}]',
        b'[{"n":"bed-temp","v":1.0,"x\\u005f":1}]',
        cbor2.dumps([{0: "bed-temp", 2: 1.0, "x_": 1}]),
    ):
        decoded = decode(RawMessage(TOPIC, payload, RECEIVED_MS))
        assert not decoded.readings
        assert reasons(decoded) == {RejectReason.NOT_UNDERSTOOD}


def test_a_newer_version_is_refused_wherever_it_stands() -> None:
    record = {"n": "bed-temp", "v": 1.0}
    assert pack({"bver": 10, **record}).readings
    for records in ([{"bver": 11, **record}], [record, {"bver": 11, **record}]):
        decoded = pack(*records)
        assert not decoded.readings
        assert reasons(decoded) == {RejectReason.NOT_UNDERSTOOD}


@pytest.mark.parametrize(
    "base",
    [{"bn": 5}, {"bt": "noon"}, {"bu": 1}, {"bv": "x"}, {"bver": "x"}, {"bver": 0}, {"bt": True}],
)
def test_a_base_value_of_the_wrong_type_spoils_the_whole_pack(base: dict[str, object]) -> None:
    decoded = pack({"n": "lid-temp", "v": 20}, {**base, "n": "bed-temp", "v": 22})
    assert not decoded.readings
    assert len(decoded.rejected) == 1


def test_one_bad_record_does_not_lose_the_good_ones() -> None:
    decoded = pack(
        {"n": "bed-temp", "v": "warm"},
        {"n": "lid-temp", "v": 20.0, "vs": "cold"},
        {"n": "shed-temp", "vb": True},
        {"n": "note", "vs": "dripping"},
        {"n": "headspace-temp", "t": "noon", "v": 21.0},
        {"n": "shed-rh"},
        {"n": "headspace-rh", "v": 91.0},
    )
    assert [reading.values for reading in decoded.readings] == [{"headspace_rh_pct": 91.0}]
    assert reasons(decoded) == {RejectReason.BAD_VALUE, RejectReason.BAD_TIME}
    assert "4 more like it" in next(
        r.sentence for r in decoded.rejected if r.reason is RejectReason.BAD_VALUE
    )


def test_one_channel_twice_without_a_time_becomes_two_readings_in_order() -> None:
    decoded = pack(
        {"n": "bed-temp", "v": 20.0},
        {"n": "headspace-rh", "v": 90.0},
        {"n": "bed-temp", "v": 21.0},
        {"n": "headspace-rh", "v": 91.0},
    )
    assert [(r.taken_at_ms - RECEIVED_MS, r.values) for r in decoded.readings] == [
        (-1, {"bed_temp_c": 20.0, "headspace_rh_pct": 90.0}),
        (0, {"bed_temp_c": 21.0, "headspace_rh_pct": 91.0}),
    ]


def test_cbor_takes_decimal_fractions_and_refuses_other_tags() -> None:
    decimal = bytes.fromhex("81a200 68") + b"bed-temp" + bytes.fromhex("02 c48220 18e0")
    decoded = decode(RawMessage(TOPIC, decimal, RECEIVED_MS))
    assert decoded.readings[0].values == {"bed_temp_c": 22.4}
    for tagged in ("c249010000000000000000", "d82301", "c100", "d81c80"):
        payload = bytes.fromhex("81a200 68") + b"bed-temp" + bytes.fromhex("02" + tagged)
        refused = decode(RawMessage(TOPIC, payload, RECEIVED_MS))
        assert not refused.readings
        assert reasons(refused) == {RejectReason.NOT_CBOR}


def test_cbor_infinity_and_undefined_are_refused_as_values() -> None:
    for value in ("f97c00", "f97e00", "f7", "f6", "f8ff"):
        payload = bytes.fromhex("81a200 68") + b"bed-temp" + bytes.fromhex("02" + value)
        decoded = decode(RawMessage(TOPIC, payload, RECEIVED_MS))
        assert not decoded.readings
        assert reasons(decoded) == {RejectReason.BAD_VALUE}


def test_cbor_may_describe_itself_and_label_in_text() -> None:
    payload = b"\xd9\xd9\xf7" + cbor2.dumps([{"n": "bed-temp", "v": 22.5, 99: 1}])
    assert decode(RawMessage(TOPIC, payload, RECEIVED_MS)).readings[0].values == {
        "bed_temp_c": 22.5
    }


def test_a_record_with_a_label_twice_spoils_the_pack() -> None:
    both = cbor2.dumps([{0: "bed-temp", "n": "lid-temp", 2: 1.0}])
    for payload in (b'[{"n":"a","n":"b","v":1},{"n":"c","v":1}]', both):
        decoded = decode(RawMessage(TOPIC, payload, RECEIVED_MS))
        assert not decoded.readings
        assert reasons(decoded) == {RejectReason.NOT_SENML}


def test_the_limits_of_a_pack() -> None:
    record = {"n": "bed-temp", "bt": 1.79e9, "v": 1.0}
    assert len(pack(*[record | {"t": i} for i in range(512)]).readings) == 512
    assert reasons(pack(*[record] * 513)) == {RejectReason.TOO_MANY_RECORDS}
    assert len(pack(*[{"n": f"x{i}", "v": 1.0} for i in range(64)]).readings[0].values) == 64
    assert reasons(pack(*[{"n": f"x{i}", "v": 1.0} for i in range(65)])) == {
        RejectReason.TOO_MANY_CHANNELS
    }
    assert reasons(pack()) == {RejectReason.EMPTY}
    assert reasons(pack({"bn": "tansy-1"})) == {RejectReason.EMPTY}
