"""Calibration on its page and by the interface; what it does to values."""

from __future__ import annotations

import json
import re

import httpx
import pytest

from underlid.readings.calibration import SALT_RH_PCT
from underlid.web.pages.calibration import SALTS
from web.household import Household, program
from web.visiting import Visitor

PAGE = "/probes/tansy-1/calibration"
BODY = b'{"bed_temp_c":20.4,"headspace_temp_c":20.0,"headspace_rh_pct":90.0,"soil_raw":1950}'
SALT_FORM = {
    "way": "salts", "salts_channel": "headspace_rh_pct", "salt_1": "NaCl", "read_1": "73,0",
    "salt_2": "KCl", "read_2": "81.0", "salts_since": "always",
}  # fmt: skip


def marks(page: str) -> list[str]:
    return re.findall(r'name="mark" value="(\w+)"', page)


def test_two_salts_and_ice_put_the_past_right_and_are_taken_back(
    house: Household, ash: Visitor
) -> None:
    house.send("tansy-1", BODY)
    assert "Nothing: its values are taken as it sends them." in ash.words(PAGE)
    assert PAGE in ash.read("/probes/tansy-1")
    answer = ash.send(PAGE, SALT_FORM, PAGE)
    assert answer.headers["location"] == f"{PAGE}?said=calibrated"
    ice = {
        "way": "ice", "ice_channel": "bed_temp_c", "read_ice": "0.4", "ice_since": "always",
    }  # fmt: skip
    ash.send(PAGE, ice, PAGE)
    page = ash.words(PAGE)
    assert "salts: NaCl 73, KCl 81" in page
    assert "ice point: 0.4" in page
    place = house.records.setup().probes["tansy-1"]
    assert [(one.channel, one.from_ms) for one in place.calibrations] == [
        ("headspace_rh_pct", 0), ("bed_temp_c", 0),
    ]  # fmt: skip
    assert "20.0 °C" in ash.words("/probes").partition("tansy-1")[2]
    first, second = marks(ash.read(PAGE))
    for mark in (first, second):
        ash.send(f"{PAGE}/remove", {"mark": mark}, PAGE)
    assert house.records.setup().probes["tansy-1"].calibrations == ()
    assert ash.send(f"{PAGE}/remove", {"mark": first}, PAGE).status_code == 422


def test_a_new_one_from_now_on_leaves_the_past_and_one_for_all_replaces(
    house: Household, ash: Visitor
) -> None:
    house.send("tansy-1", BODY)
    form = {"way": "reference", "reference_channel": "bed_temp_c", "read": "20.4"}
    ash.send(PAGE, form | {"true": "20", "reference_since": "always"}, PAGE)
    ash.send(PAGE, form | {"true": "19", "reference_since": "now"}, PAGE)
    made = house.records.setup().probes["tansy-1"].calibrations
    assert [one.offset for one in made] == [-0.4, -1.4]
    assert made[1].from_ms == house.clock.now_ms()
    ash.send("/units", {"units": "us", "to": "/"}, "/")
    in_f = form | {"read": "68.5", "true": "68.0", "reference_since": "always"}
    ash.send(PAGE, in_f, PAGE)
    (only,) = house.records.setup().probes["tansy-1"].calibrations
    assert only.offset == pytest.approx(-0.278, abs=0.001)
    page = ash.words(PAGE)
    assert (
        "reference: 20 where it read 20.278 °C: 1 · raw − 0.5 °F, for all that it ever said" in page
    )
    assert "take what it says uncalibrated" in page


def test_weighed_samples_make_the_line(house: Household, ash: Visitor) -> None:
    ash.send(
        "/probes/tansy-1/place",
        {"where": "bin:tansy", "soil_dry_raw": "2750", "soil_wet_raw": "1150", "depth_cm": ""},
        "/probes/tansy-1",
    )
    house.send("tansy-1", BODY)
    assert 'name="sample_raw" type="text" value="1950"' in ash.read(PAGE)
    sample = {"way": "sample", "sample_raw": "1950", "wet_g": "10.0", "dry_g": "2.3"}
    ash.send(PAGE, sample, PAGE)
    assert house.records.setup().probes["tansy-1"].soil_points[-1] == (0.5, 77.0)
    refused = ash.send(PAGE, sample | {"sample_raw": "1350", "dry_g": "6.5"}, PAGE)
    assert refused.status_code == 422
    assert "a wetter bed where the index is higher" in refused.text


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"read_1": ""}, "Humidity over the first salt is"),
        ({"read_2": "73.0"}, "Second raw value is"),
        ({"read_1": "20", "read_2": "90"}, "Slope between the points is"),
        ({"salt_2": "sugar"}, "Second salt is"),
        ({"read_1": "40", "read_2": "48"}, "Difference of the reading over NaCl is"),
        ({"salts_channel": "bed_temp_c"}, "Channel is"),
        ({"salts_since": "then"}, "What it counts for is"),
        (
            {"way": "ice", "ice_channel": "bed_temp_c", "ice_since": "now", "read_ice": "9"},
            "Reading in ice is",
        ),
        (
            {"way": "reference", "reference_channel": "bed_temp_c", "reference_since": "now",
             "read": "20", "true": "68"},
            "Difference to the reference is",
        ),
        ({"way": "sample", "sample_raw": "70000"}, "Counts when it was taken is"),
    ],
)  # fmt: skip
def test_a_wrong_reading_gets_its_sentence(
    looker: Visitor, wrong: dict[str, str], sentence: str
) -> None:
    answer = looker.send(PAGE, SALT_FORM | wrong, PAGE)
    assert answer.status_code == 422
    assert f'id="refusal">{sentence}' in answer.text
    assert looker.get("/probes/none/calibration").status_code == 404


def test_a_program_calibrates_too(house: Household) -> None:
    with program(house, "lead") as lead:
        calibrates(house, lead)


def calibrates(house: Household, lead: httpx.Client) -> None:
    house.send("tansy-1", BODY)
    path = "/api/v1/probes/tansy-1"
    salts = {"channel": "headspace_rh_pct", "salts": {"NaCl": 73.0, "KCl": 81.0}}
    made = lead.post(f"{path}/calibrations", json=salts)
    assert made.status_code == 201
    (one,) = made.json()["calibrations"]
    assert (one["channel"], one["from"], one["gain"]) == ("headspace_rh_pct", None, 1.125)
    late = {"channel": "bed_temp_c", "ice_c": 0.4, "since": "2026-05-01T00:00:00Z"}
    assert (
        lead.post(f"{path}/calibrations", json=late).json()["calibrations"][1]["from"]
        == late["since"]
    )
    sampled = lead.post(f"{path}/samples", json={"moisture_pct": 70.0, "soil_index": 0.48}).json()
    assert sampled["samples"][-1]["soil_index"] == 0.48
    for wrong in (
        {"channel": "bed_temp_c"},
        {"channel": "bed_temp_c", "ice_c": 0.4, "salts": {}},
        {"channel": "headspace_rh_pct", "salts": {"NaCl": 73.0}},
        {"channel": "soil_raw", "reference": {"read": 1, "true": 2}},
        late | {"since": "soon"},
    ):
        assert lead.post(f"{path}/calibrations", json=wrong).status_code == 422
    no_number = b'{"channel":"bed_temp_c","ice_c":NaN}'
    as_json = {"content-type": "application/json"}
    answer = lead.post(f"{path}/calibrations", content=no_number, headers=as_json)
    assert answer.status_code == 422
    for mark in (one["mark"], sampled["samples"][-1]["mark"]):
        left = lead.delete(f"{path}/calibrations/{mark}").json()
        assert mark not in json.dumps(left)
    assert lead.get(f"{path}/calibrations").json() == left
    assert lead.delete(f"{path}/calibrations/none").status_code == 404
    assert lead.get("/api/v1/probes/none/calibrations").status_code == 404


def test_every_salt_is_on_the_form() -> None:
    assert SALTS.keys() == SALT_RH_PCT.keys()
