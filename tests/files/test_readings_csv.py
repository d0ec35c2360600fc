"""Rows become readings in the order of arrival; bad rows are refused by file, line and reason."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from files.samples import T0_MS, reading
from underlid.errors import UnderlidError
from underlid.files.readings_csv import read_readings, read_rows, write_readings
from underlid.files.refused_rows import SENTENCES_MOST, RefusedRows
from underlid.readings.values import Reading, TimeSource
from underlid.timeline import MINUTE_MS, rfc3339

HEADER = "time,probe,channel,value\n"
SHEDS = {"tansy-1": "potting"}


def rows(text: str, *, skip: bool = False, header: str = HEADER) -> list[Reading]:
    return read_rows(io.StringIO(header + text), "r.csv", SHEDS, RefusedRows(skip)).readings


def test_rows_of_one_probe_and_time_are_one_reading() -> None:
    found = rows(
        f"{T0_MS // 1000},tansy-1,bed_temp_c,21.5\n"
        f"{T0_MS // 1000 + 60},tansy-1,bed_temp_c,21.6\n"
        f"{T0_MS // 1000},tansy-1,soil_raw,1843\n"
    )
    assert [one.values for one in found] == [
        {"bed_temp_c": 21.5, "soil_raw": 1843.0},
        {"bed_temp_c": 21.6},
    ]
    assert found[0].shed == "potting"
    assert found[0].received_at_ms == found[0].taken_at_ms == T0_MS


def test_readings_come_in_the_order_of_arrival() -> None:
    early, late = rfc3339(T0_MS), rfc3339(T0_MS + MINUTE_MS)
    found = rows(
        f"tansy-1,bed_temp_c,1,{early},{rfc3339(T0_MS + 9 * MINUTE_MS)}\n"
        f"tansy-1,bed_temp_c,2,{late},\n",
        header="probe,channel,value,time,received\n",
    )
    assert [one.values["bed_temp_c"] for one in found] == [2.0, 1.0]


def test_a_clock_that_runs_ahead_is_judged_as_in_a_message() -> None:
    found = rows(
        f"{rfc3339(T0_MS + 60 * MINUTE_MS)},tansy-1,bed_temp_c,1,{rfc3339(T0_MS)}\n",
        header="time,probe,channel,value,received\n",
    )
    assert found[0].taken_at_ms == T0_MS
    assert found[0].time_source is TimeSource.RECEIPT_CLOCK_AHEAD


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("noon,tansy-1,bed_temp_c,1", "time is 'noon'"),
        ("2026-05-01T10:00:00,tansy-1,bed_temp_c,1", "with offset"),
        ("1600000000000,tansy-1,bed_temp_c,1", "to 2100"),
        ("1999-01-01T00:00:00Z,tansy-1,bed_temp_c,1", "from 2020"),
        ("1790000000,Tansy 1,bed_temp_c,1", "probe is 'Tansy 1'"),
        ("1790000000,tansy-1,Bed,1", "channel is 'Bed'"),
        ("1790000000,tansy-1,bed_temp_c,warm", "a finite number"),
        ("1790000000,tansy-1,bed_temp_c,nan", "a finite number"),
        ("1790000000,tansy-1,bed_temp_c,1e999", "a finite number"),
        ("1790000000,tansy-1,bed_temp_c,1_0", "a finite number"),
        ("1790000000,tansy-1,bed_temp_c,٣", "a finite number"),
        ("1790000000,tansy-1,bed_temp_c", "every column filled"),
    ],
)
def test_a_bad_row_is_refused_by_line_or_counted(row: str, says: str) -> None:
    good = "1790000000,tansy-1,soil_raw,7\n"
    with pytest.raises(UnderlidError) as refused:
        rows(f"{good}{row}\n{good}")
    assert "r.csv line 3" in str(refused.value)
    assert says in str(refused.value)
    counted = RefusedRows(skip=True)
    found = read_rows(io.StringIO(f"{HEADER}{good}{row}\n{good}"), "r.csv", SHEDS, counted)
    assert counted.count == 1
    assert says in counted.sentences[0]
    assert [one.values for one in found.readings] == [{"soil_raw": 7.0}]


def test_a_row_after_a_bad_one_does_not_fall_into_its_reading() -> None:
    bad = "noon,tansy-1,soil_raw,1\n"
    found = rows(
        f"1790000000,tansy-1,soil_raw,7\n{bad}{bad}1790000060,tansy-1,soil_raw,8\n", skip=True
    )
    assert [one.values["soil_raw"] for one in found] == [7.0, 8.0]


def test_many_bad_rows_are_counted_and_few_are_shown() -> None:
    refused = RefusedRows(skip=True)
    read_rows(io.StringIO(HEADER + "x,x,x,x\n" * 500), "r.csv", SHEDS, refused)
    assert (refused.count, len(refused.sentences)) == (500, SENTENCES_MOST)


@pytest.mark.parametrize("header", ["", "time,probe,value\n", "time,time,probe,channel,value\n"])
def test_a_file_without_its_columns_is_refused(header: str) -> None:
    with pytest.raises(UnderlidError, match=r"first line of r\.csv"):
        read_rows(io.StringIO(header), "r.csv", SHEDS)


@given(st.text(max_size=200))
def test_any_text_gives_readings_or_a_refusal(text: str) -> None:
    read_rows(io.StringIO(HEADER + text), "r.csv", SHEDS, RefusedRows(skip=True))


@given(
    st.lists(
        st.builds(
            reading,
            st.integers(0, 10_000),
            st.integers(0, 500),
            bed_temp_c=st.floats(-1e300, 1e300),
            soil_raw=st.floats(0, 4095),
        ),
        unique_by=lambda one: (one.taken_at_ms, one.received_at_ms),
    )
)
def test_what_is_written_reads_back_the_same(readings: list[Reading]) -> None:
    out = io.StringIO()
    assert write_readings(out, readings) == 2 * len(readings)
    found = read_rows(io.StringIO(out.getvalue()), "r.csv", SHEDS).readings
    assert found == sorted(readings, key=lambda one: (one.received_at_ms, one.taken_at_ms))


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnderlidError, match="No such file"):
        read_readings(tmp_path / "none.csv", {})
