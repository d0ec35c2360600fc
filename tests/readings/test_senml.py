"""SenML packs: the example packs of RFC 8428, the rules of its section 4, and our names."""

from __future__ import annotations

import cbor2
import msgspec
import pytest

from underlid.readings.decode import Decoded, decode
from underlid.readings.refusal import Refusals
from underlid.readings.senml import read_pack, resolve
from underlid.readings.values import RawMessage, RejectReason, TimeSource

RECEIVED_MS = 1_800_000_000_000
TOPIC = "underlid/v1/potting/tansy-1/senml"

# The packs below are RFC 8428's own, read in the RFC's text (core-wg/senml-spec, rfc8428.txt).
SECTION_5_1_2 = b"""[
     {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,
      "bu":"A","bver":5,
      "n":"voltage","u":"V","v":120.1},
     {"n":"current","t":-5,"v":1.2},
     {"n":"current","t":-4,"v":1.3},
     {"n":"current","t":-3,"v":1.4},
     {"n":"current","t":-2,"v":1.5},
     {"n":"current","t":-1,"v":1.6},
     {"n":"current","v":1.7}
   ]"""
SECTION_5_1_3 = b"""[
     {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
      "bu":"%RH","v":20},
     {"u":"lon","v":24.30621},
     {"u":"lat","v":60.07965},
     {"t":60,"v":20.3},
     {"u":"lon","t":60,"v":24.30622},
     {"u":"lat","t":60,"v":60.07965},
     {"t":120,"v":20.7},
     {"u":"lon","t":120,"v":24.30623},
     {"u":"lat","t":120,"v":60.07966},
     {"u":"%EL","t":150,"v":98},
     {"t":180,"v":21.2},
     {"u":"lon","t":180,"v":24.30628},
     {"u":"lat","t":180,"v":60.07967}
   ]"""
SECTION_5_1_4 = [
    ("%RH", 1.320067464e09, 20),
    ("lon", 1.320067464e09, 24.30621),
    ("lat", 1.320067464e09, 60.07965),
    ("%RH", 1.320067524e09, 20.3),
    ("lon", 1.320067524e09, 24.30622),
    ("lat", 1.320067524e09, 60.07965),
    ("%RH", 1.320067584e09, 20.7),
    ("lon", 1.320067584e09, 24.30623),
    ("lat", 1.320067584e09, 60.07966),
    ("%EL", 1.320067614e09, 98),
    ("%RH", 1.320067644e09, 21.2),
    ("lon", 1.320067644e09, 24.30628),
    ("lat", 1.320067644e09, 60.07967),
]
SECTION_5_1_5 = b"""[
    {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
    {"n":"label","vs":"Machine Room"},
    {"n":"open","vb":false},
    {"n":"nfv-reader","vd":"aGkgCg"}
  ]"""
SECTION_5_1_6 = b"""[
     {"bn":"2001:db8::2/","bt":1.320078429e+09,
      "n":"temperature","u":"Cel","v":25.2},
     {"n":"humidity","u":"%RH","v":30},
     {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
     {"n":"humidity","u":"%RH","v":67}
   ]"""
SECTION_5_1_7 = b"""[
     {"bn":"urn:dev:ow:10e2073a01080063:"},
     {"n":"temp","u":"Cel","v":23.1},
     {"n":"heat","u":"/","v":1},
     {"n":"fan","u":"/","v":0}
   ]"""
SECTION_6 = bytes.fromhex(
    "87 a7 21 78 1b 75 72 6e 3a 64 65 76 3a 6f 77 3a"
    "31 30 65 32 30 37 33 61 30 31 30 38 30 30 36 3a"
    "22 fb 41 d3 03 a1 5b 00 10 62 23 61 41 20 05 00"
    "67 76 6f 6c 74 61 67 65 01 61 56 02 fb 40 5e 06"
    "66 66 66 66 66 a3 00 67 63 75 72 72 65 6e 74 06"
    "24 02 fb 3f f3 33 33 33 33 33 33 a3 00 67 63 75"
    "72 72 65 6e 74 06 23 02 fb 3f f4 cc cc cc cc cc"
    "cd a3 00 67 63 75 72 72 65 6e 74 06 22 02 fb 3f"
    "f6 66 66 66 66 66 66 a3 00 67 63 75 72 72 65 6e"
    "74 06 21 02 f9 3e 00 a3 00 67 63 75 72 72 65 6e"
    "74 06 20 02 fb 3f f9 99 99 99 99 99 9a a3 00 67"
    "63 75 72 72 65 6e 74 06 00 02 fb 3f fb 33 33 33"
    "33 33 33"
)


def resolved(payload: bytes) -> list[tuple[str, str | None, float, object]]:
    refusals = Refusals()
    found = [
        (base + name, unit, time_s, value)
        for base, name, unit, time_s, value in resolve(read_pack(payload), refusals)
    ]
    assert not refusals
    return found


def pack(*records: dict[str, object], topic: str = TOPIC) -> Decoded:
    return decode(RawMessage(topic, msgspec.json.encode(records), RECEIVED_MS))


def reasons(decoded: Decoded) -> set[RejectReason]:
    return {rejected.reason for rejected in decoded.rejected}


def test_rfc_8428_5_1_2_times_relative_to_the_base_time() -> None:
    name = "urn:dev:ow:10e2073a0108006:"
    assert resolved(SECTION_5_1_2) == [
        (name + "voltage", "V", 1276020076.001, 120.1),
        (name + "current", "A", 1276020071.001, 1.2),
        (name + "current", "A", 1276020072.001, 1.3),
        (name + "current", "A", 1276020073.001, 1.4),
        (name + "current", "A", 1276020074.001, 1.5),
        (name + "current", "A", 1276020075.001, 1.6),
        (name + "current", "A", 1276020076.001, 1.7),
    ]


def test_rfc_8428_5_1_3_resolves_to_5_1_4() -> None:
    name = "urn:dev:ow:10e2073a01080063"
    assert resolved(SECTION_5_1_3) == [(name, *rest) for rest in SECTION_5_1_4]


def test_rfc_8428_5_1_5_text_and_data_are_seen_but_not_kept() -> None:
    kinds = [value for *_, value in resolved(SECTION_5_1_5)]
    assert kinds == [23.1, "(vs)", False, "(vd)"]


def test_rfc_8428_5_1_6_a_later_base_name_keeps_the_base_time() -> None:
    assert resolved(SECTION_5_1_6) == [
        ("2001:db8::2/temperature", "Cel", 1320078429.0, 25.2),
        ("2001:db8::2/humidity", "%RH", 1320078429.0, 30.0),
        ("2001:db8::1/temperature", "Cel", 1320078429.0, 12.3),
        ("2001:db8::1/humidity", "%RH", 1320078429.0, 67.0),
    ]


def test_rfc_8428_5_1_7_a_record_of_base_values_alone_is_no_reading() -> None:
    assert [value for *_, value in resolved(SECTION_5_1_7)] == [23.1, 1.0, 0.0]


def test_rfc_8428_6_cbor_says_the_same_as_json() -> None:
    assert resolved(SECTION_6) == resolved(SECTION_5_1_2)


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


@pytest.mark.parametrize(
    ("base_name", "name"),
    [
        ("", "bed-temp"),
        ("tansy-1", "bed-temp"),
        ("tansy-1:", "bed-temp"),
        ("urn:dev:mac:0024befffe804ff1-tansy-1/", "bed-temp"),
        ("urn:dev:", "tansy-1:bed-temp"),
        ("", "potting/tansy-1/bed-temp"),
        ("urn:dev:tansy-1:bed-temp", ""),
        ("", "bed_temp_c"),
        ("", "bed-temp-c"),
    ],
)
def test_names_lead_to_the_probe_and_channel(base_name: str, name: str) -> None:
    decoded = pack({"bn": base_name, "n": name, "u": "Cel", "v": 22.4})
    assert [reading.values for reading in decoded.readings] == [{"bed_temp_c": 22.4}]


@pytest.mark.parametrize(
    ("base_name", "name", "reason"),
    [
        ("sorrel-1:", "bed-temp", RejectReason.WRONG_PROBE),
        ("", "sorrel-1/bed-temp", RejectReason.WRONG_PROBE),
        ("tansy-1:", "", RejectReason.BAD_CHANNEL),
        ("", "Bed Temp", RejectReason.BAD_CHANNEL),
        ("", "9lives", RejectReason.BAD_CHANNEL),
    ],
)
def test_names_that_lead_nowhere(base_name: str, name: str, reason: RejectReason) -> None:
    decoded = pack({"bn": base_name, "n": name, "v": 22.4})
    assert not decoded.readings
    assert reasons(decoded) == {reason}


@pytest.mark.parametrize(
    ("name", "unit", "value", "channel", "stored"),
    [
        ("bed-temp", "K", 295.55, "bed_temp_c", 22.4),
        ("headspace-rh", "%RH", 91.0, "headspace_rh_pct", 91.0),
        ("headspace-rh", "/", 0.91, "headspace_rh_pct", 91.0),
        ("headspace-rh", "%", 0.91, "headspace_rh_pct", 91.0),
        ("headspace-rh", "/100", 91.0, "headspace_rh_pct", 91.0),
        ("moisture", "%", 0.75, "moisture_pct", 75.0),
        ("mass", "g", 21500.0, "bin_mass_kg", 21.5),
        ("battery", "mV", 3910.0, "battery_v", 3.91),
        ("rssi", "dBW", -97.0, "rssi_dbm", -67.0),
        ("rssi", "dBm", -67.0, "rssi_dbm", -67.0),
        ("soil", "/", 1843, "soil_raw", 1843.0),
        ("soil", "/", 0.42, "soil_index", 0.42),
        ("soil", "/100", 42.0, "soil_index", 0.42),
        ("soil", "count", 1, "soil_raw", 1.0),
        ("soil-index", "/", 0.42, "soil_index", 0.42),
        ("co2", "ppm", 640, "co2", 640.0),
        ("lid-open", None, True, "lid_open", 1.0),
    ],
)
def test_units_of_one_kind_convert(
    name: str, unit: str | None, value: object, channel: str, stored: float
) -> None:
    label = "vb" if value is True else "v"
    decoded = pack({"n": name, label: value} | ({"u": unit} if unit else {}))
    assert decoded.readings[0].values == {channel: pytest.approx(stored, abs=1e-9)}


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("bed-temp", "%RH"),
        ("bed-temp", "degF"),
        ("headspace-rh", "Cel"),
        ("moisture", "%RH"),
        ("battery", "%EL"),
        ("mass", "lb"),
        ("rssi", "dB"),
        ("soil", "V"),
    ],
)
def test_a_wrong_kind_of_unit_is_refused_and_its_neighbours_stay(name: str, unit: str) -> None:
    decoded = pack({"n": name, "u": unit, "v": 1.0}, {"n": "lid-temp", "u": "Cel", "v": 20.0})
    assert decoded.readings[0].values == {"lid_temp_c": 20.0}
    assert reasons(decoded) == {RejectReason.WRONG_UNIT}


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
