"""Mappings in the records: kept, changed, given up, and those that cannot be read."""

from __future__ import annotations

from pathlib import Path

import pytest

from storage.records_places import PLACE, address, fresh
from underlid.errors import UnderlidError
from underlid.readings.mapping import PayloadMapping, mapping_from
from underlid.storage.records import Records
from underlid.storage.records.database import Database
from underlid.storage.records.mapping_rows import PAST_MOST

pytestmark = pytest.mark.usefixtures("either_database")


def mapping(topic_filter: str = "allotment/+/env", **more: object) -> PayloadMapping:
    fields = {
        "filter": topic_filter,
        "shed": "potting",
        "probe_level": 2,
        "values": [{"at": "/soil/temp", "channel": "bed_temp_c", "unit": "K"}],
    }
    return mapping_from("boards", {**fields, **more})


def test_mappings_are_kept_changed_renamed_and_removed() -> None:
    with fresh() as records:
        first = mapping(each_at="", example_topic="allotment/3/env", example='{"\u0000": "½"}')
        records.save_mapping("boards", first)
        assert records.mappings().good == {"boards": first}
        assert records.setup().mappings == {"boards": first}
        records.save_mapping("plots", mapping("allotment/#"), was="boards")
        kept = records.mappings()
        assert kept.good == {"plots": mapping("allotment/#")}
        assert kept.past_filters == ("allotment/+/env",)
        records.save_mapping("plots", first)
        assert records.mappings().past_filters == ("allotment/#",)
        assert records.remove_mapping("plots")
        assert not records.remove_mapping("plots")
        assert records.mappings().past_filters == ("allotment/#", "allotment/+/env")


def test_a_set_up_brings_its_mappings_and_a_judge_need_not_look() -> None:
    with fresh() as records:
        before = records.revision()
        records.save_mapping("boards", mapping())
        assert records.revision() == before
        records.save_setup(PLACE)
        assert set(records.setup().mappings) == {"boards"}


@pytest.mark.parametrize(
    ("name", "wrong", "said"),
    [
        ("Boards", mapping(), "name of the mapping"),
        ("other", mapping(shed="cellar"), "a shed that is set up"),
        ("other", mapping("allotment/3/env", probe_level=1), "without a topic in common"),
    ],
)
def test_what_does_not_fit_the_others_is_refused(
    name: str, wrong: PayloadMapping, said: str
) -> None:
    with fresh() as records:
        records.save_mapping("boards", mapping())
        records.save_mapping("also", mapping())  # one subscription, two readers
        with pytest.raises(UnderlidError, match=said):
            records.save_mapping(name, wrong)
        assert set(records.mappings().good) == {"boards", "also"}


def test_a_mapping_that_cannot_be_read_costs_no_other(tmp_path: Path) -> None:
    records = Records.open(address(tmp_path))
    records.save_setup(PLACE)
    records.save_mapping("boards", mapping())
    records.close()
    database = Database(address(tmp_path))
    with database.write() as connection:
        for name, fields in (("later", '{"filter": "a", "new": 1}'), ("torn", "{")):
            connection.exec_driver_sql(
                f"INSERT INTO mappings (name, fields) VALUES ('{name}', '{fields}')"
            )
    database.close()
    records = Records.open(address(tmp_path))
    kept = records.mappings()
    assert set(kept.good) == {"boards"}
    assert set(kept.broken) == {"later", "torn"}
    records.close()


def test_filters_given_up_are_bounded() -> None:
    with fresh() as records:
        for number in range(8):
            records.save_mapping("boards", mapping(f"allotment/{number}"))
        assert len(records.mappings().past_filters) == 7 < PAST_MOST
