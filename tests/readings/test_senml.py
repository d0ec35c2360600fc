"""SenML packs, resolved: the example packs of RFC 8428."""

from __future__ import annotations

from underlid.readings.refusal import Refusals
from underlid.readings.senml import read_pack, resolve

# The packs below are RFC 8428's own, read in its text of July 2018 (core-wg/senml-spec).
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
