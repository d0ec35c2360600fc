"""Probes, sheds and bins are set up by forms, as a browser without scripts uses them."""

from __future__ import annotations

import re

import pytest

from web.household import Household
from web.visiting import Visitor


def test_a_probe_is_claimed_moved_and_let_go(house: Household, ash: Visitor) -> None:
    house.send("mystery-3", b'{"bed_temp_c":19.5,"soil_raw":1801,"bed_temp":19.5}')
    page = ash.read("/probes")
    assert page.count("kept and drawn only") == page.count("<code>bed_temp</code>") == 1
    assert page.index("mystery-3") < page.index("In their places")
    fields = {"where": "bin:sorrel", "depth_cm": "12,5", "soil_dry_raw": "", "soil_wet_raw": ""}
    answer = ash.send("/probes/mystery-3/place", fields, "/probes/mystery-3")
    assert answer.headers["location"] == "/bin/sorrel?said=placed"
    assert house.records.setup().probes["mystery-3"].depth_cm == 12.5
    fields = {**fields, "where": "air:potting"}
    ash.send("/probes/mystery-3/place", fields, "/probes/mystery-3")
    assert house.records.setup().sheds["potting"].air_probe == "mystery-3"
    ash.send("/probes/mystery-3/remove", {}, "/probes/mystery-3")
    setup = house.records.setup()
    assert "mystery-3" not in setup.probes
    assert setup.sheds["potting"].air_probe is None


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"where": ""}, "Place is"),
        ({"where": "bin:nowhere"}, "Place is"),
        ({"depth_cm": "deep"}, "Depth, cm is"),
        ({"depth_cm": "-3"}, "Depth, cm is"),
        ({"soil_dry_raw": "2700"}, "Count in dry air and in water is 2700 and nothing"),
        (
            {"soil_dry_raw": "2700", "soil_wet_raw": "2700"},
            "Count in dry air and in water is 2700 and 2700",
        ),
        ({"soil_dry_raw": "99999999"}, "Count in dry air is"),
        ({"soil_wet_raw": "wet"}, "Count in water is"),
    ],
)
def test_a_wrong_place_gives_its_sentence(
    looker: Visitor, wrong: dict[str, str], sentence: str
) -> None:
    fields = {"where": "bin:tansy", "depth_cm": "10", **wrong}
    answer = looker.send("/probes/tansy-1/place", fields, "/probes/tansy-1")
    assert answer.status_code == 422
    assert f'id="refusal">{sentence}' in answer.text


def test_a_probe_gets_a_secret_that_is_shown_once(house: Household, ash: Visitor) -> None:
    page = ash.send("/probes/secret", {"probe": "fennel-1"}, "/probes").text
    secret = re.findall(r"<code>([^<]+)</code>", page)[1]
    assert len(secret) >= 20
    assert secret not in house.records.door_secrets()["fennel-1"]
    assert ash.send("/probes/secret", {"probe": "../x"}, "/probes").status_code == 422


def test_a_probes_secret_is_ended_on_its_page(house: Household, ash: Visitor) -> None:
    page, ends = "/probes/tansy-1", "/probes/tansy-1/secret/end"
    assert ends not in ash.read(page)
    ash.send("/probes/secret", {"probe": "tansy-1"}, "/probes")
    assert ends in ash.read(page)
    assert "The secret is ended" in ash.read(ash.send(ends, {}, page).headers["location"])
    assert "tansy-1" not in house.records.door_secrets()
    assert ends not in ash.read(page)


BIN = {
    "name": "Fennel",
    "shed": "potting",
    "kind": "tray-stack",
    "species_eisenia-andrei": "yes",
    "herd_kg": "0.8",
    "volume_l": "45",
    "bed_kg": "15",
    "lid_area_m2": "0.16",
    "target_moisture_pct": "75",
    "bedding": "cardboard",
}


def test_a_shed_and_a_bin_are_added_and_changed(house: Household, ash: Visitor) -> None:
    fields = {"name": "Cellar", "timezone": "Europe/London"}
    assert ash.send("/places/shed", fields, "/places/shed").status_code == 303
    answer = ash.send("/places/bin", {**BIN, "shed": "cellar"}, "/places/bin")
    assert answer.headers["location"] == "/bin/fennel?said=bin"
    ash.send("/places/bin/fennel", {**BIN, "herd_kg": "1.5"}, "/places/bin/fennel")
    fennel = house.records.setup().bins["fennel"]
    assert (fennel.herd_kg, fennel.shed, fennel.bedding) == (1.5, "potting", "cardboard")
    assert "Fennel" in ash.read("/places")


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"name": ""}, "Name of the bin is"),
        ({"name": "x" * 200}, "Name of the bin is"),
        ({"shed": "moon"}, "Shed is"),
        ({"kind": "bucket"}, "Kind of bin is"),
        ({"species_eisenia-andrei": ""}, "Worms is"),
        ({"herd_kg": "-1"}, "Worms, kg is"),
        ({"volume_l": "inf"}, "Volume, litres is"),
        ({"bed_kg": ""}, "Bed, kg is"),
        ({"lid_area_m2": "0"}, "Lid area, m² is"),
        ({"target_moisture_pct": "20"}, "Moisture to keep, % is"),
        ({"bedding": "melon"}, "Bedding at hand is"),
    ],
)
def test_a_wrong_bin_gives_its_sentence(
    looker: Visitor, wrong: dict[str, str], sentence: str
) -> None:
    answer = looker.send("/places/bin", {**BIN, **wrong}, "/places/bin")
    assert answer.status_code == 422
    assert f'id="refusal">{sentence}' in answer.text


@pytest.mark.parametrize(("wrong", "word"), [({"name": ""}, "Name"), ({"timezone": "X"}, "Time")])
def test_a_wrong_shed_gives_its_sentence(looker: Visitor, wrong: dict[str, str], word: str) -> None:
    fields = {"name": "Boiler room", "timezone": "Europe/London", **wrong}
    answer = looker.send("/places/shed", fields, "/places/shed")
    assert answer.status_code == 422
    assert f'id="refusal">{word}' in answer.text


def test_a_bin_is_set_up_in_pounds_gallons_and_feet_and_what_is_not_touched_stays(
    house: Household, ash: Visitor
) -> None:
    page = "/places/bin/tansy"
    before = house.records.setup().bins["tansy"]
    ash.send("/units", {"units": "us", "to": "/"}, "/")
    form = ash.read(page)
    fields = dict(re.findall(r'name="(\w+)" type="text" value="([^"]*)"', form))
    ticked = re.findall(r'name="(species_[\w-]+)" value="yes" checked', form)
    picked = {
        "shed": "potting",
        "kind": before.kind.value,
        "bedding": before.bedding,
        "units": "us",
    }
    fields |= dict.fromkeys(ticked, "yes") | picked
    assert float(fields["herd_kg"]) == pytest.approx(before.herd_kg / 0.45359237, rel=1e-3)
    assert ash.send(page, fields, page).status_code == 303
    assert house.records.setup().bins["tansy"] == before
    ash.send(page, fields | {"bed_kg": "50", "lid_area_m2": "2", "limit_hot_warn_c": "79"}, page)
    after = house.records.setup().bins["tansy"]
    assert after.bed_kg == pytest.approx(22.68, abs=0.001)
    assert after.lid_area_m2 == pytest.approx(0.1858, abs=0.0001)
    assert after.limits == {"hot_warn_c": 26.111}
    assert after.volume_l == before.volume_l
    again = ash.read(page)
    assert 'name="limit_hot_warn_c" value="79"' in again
    ash.send("/units", {"units": "si", "to": "/"}, "/")
    assert 'name="limit_hot_warn_c" value="26.11"' in ash.read(page)


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"limit_hot_warn_c": "warm"}, "Too warm from is"),
        ({"limit_hot_warn_c": "90"}, "Too warm from is"),
        ({"limit_hot_warn_c": "31"}, "Too warm from is 31"),
        ({"limit_cold_warn_c": "28"}, "Too cold below is 28"),
        ({"limit_moisture_low_warn_pct": "86"}, "Too dry below is 86"),
    ],
)
def test_limits_out_of_range_or_order_are_refused(
    looker: Visitor, wrong: dict[str, str], sentence: str
) -> None:
    answer = looker.send("/places/bin", {**BIN, **wrong}, "/places/bin")
    assert answer.status_code == 422
    assert f'id="refusal">{sentence}' in answer.text
