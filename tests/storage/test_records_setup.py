"""Sheds, bins and probe places come back as they were saved; wrong ones are refused."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings

from storage.records_places import PLACE, address, fresh
from storage.records_strategies import setups
from underlid.binmodel.bins import Bin, Calibration, ProbePlace, Setup, Shed
from underlid.errors import UnderlidError
from underlid.readings.values import ProbeStatus
from underlid.storage.records import Records

pytestmark = pytest.mark.usefixtures("either_database")

EMPTY = Setup({}, {}, {})


@settings(max_examples=30)
@given(setups())
def test_a_setup_comes_back_exactly(setup: Setup) -> None:
    with fresh(setup) as records:
        assert records.setup() == setup
        records.save_setup(setup)
        assert records.setup() == setup


def test_a_setup_adds_and_changes_but_never_removes() -> None:
    with fresh() as records:
        drier = replace(PLACE.bins["tansy"], target_moisture_pct=72.0)
        records.save_setup(Setup({}, {"tansy": drier}, {}))
        assert records.setup() == replace(PLACE, bins=PLACE.bins | {"tansy": drier})


@pytest.mark.parametrize("number", [math.nan, math.inf])
def test_what_is_no_number_is_refused_and_the_set_up_can_still_be_read(number: float) -> None:
    place = PLACE.probes["tansy-1"]
    with fresh() as records:
        for wrong in (
            replace(place, calibrations=(Calibration("bed_temp_c", 1.0, number),)),
            replace(place, soil_points=((0.4, number),)),
        ):
            with pytest.raises(UnderlidError, match="calibration of tansy-1"):
                records.place_probe(wrong)
            assert records.setup() == PLACE


def test_every_change_bumps_the_revision() -> None:
    with fresh() as records:
        changes = [
            lambda: records.save_shed(Shed("boiler", "Boiler room")),
            lambda: records.save_bin(Bin("borage", "boiler")),
            lambda: records.place_probe(ProbePlace("b1", "boiler", "borage")),
            lambda: records.unplace_probe("b1"),
            lambda: records.remove_bin("borage"),
        ]
        for change in changes:
            before = records.revision()
            change()
            assert records.revision() == before + 1


def test_a_removed_bin_leaves_its_probes_unclaimed() -> None:
    with fresh() as records:
        records.remove_bin("tansy")
        assert set(records.setup().bins) == {"sorrel"}
        assert set(records.setup().probes) == {"air1"}


def test_a_probe_moves_from_bin_to_bin() -> None:
    with fresh() as records:
        records.place_probe(ProbePlace("tansy-1", "potting", "sorrel", depth_cm=12.0))
        assert records.setup().probes["tansy-1"].bin == "sorrel"


@pytest.mark.parametrize(
    "wrong",
    [
        Setup({"Potting shed": Shed("Potting shed")}, {}, {}),
        Setup({}, {"x": Bin("x", "nowhere")}, {}),
        Setup({}, {"x y": Bin("x y", "potting")}, {}),
        Setup({}, {}, {"p": ProbePlace("p", "nowhere", None)}),
        Setup({}, {}, {"p": ProbePlace("p", "potting", "missing")}),
        Setup({}, {}, {"p/#": ProbePlace("p/#", "potting", None)}),
    ],
)
def test_a_wrong_setup_changes_nothing(wrong: Setup) -> None:
    with fresh() as records:
        before = records.revision()
        good = {"boiler": Shed("boiler")} | wrong.sheds
        with pytest.raises(UnderlidError):
            records.save_setup(replace(wrong, sheds=good))
        assert records.setup() == PLACE
        assert records.revision() == before


def test_a_probes_newest_word_stands() -> None:
    with fresh() as records:
        for online, at_ms in ((True, 1000), (False, 3000), (True, 2000)):
            records.set_probe_statuses([ProbeStatus("tansy-1", "potting", online, at_ms)])
        assert records.probe_statuses() == {
            "tansy-1": ProbeStatus("tansy-1", "potting", False, 3000)
        }


def test_a_new_database_is_empty_and_all_is_there_after_reopening(tmp_path: Path) -> None:
    records = Records.open(address(tmp_path))
    assert (records.setup(), records.revision(), records.people()) == (EMPTY, 0, [])
    records.save_setup(PLACE)
    records.close()
    again = Records.open(address(tmp_path))
    assert again.setup() == PLACE
    again.close()
