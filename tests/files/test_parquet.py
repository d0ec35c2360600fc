"""Parquet files hold what the CSV files hold, and read back the same."""

from __future__ import annotations

import sys
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from files.samples import entry, reading
from underlid.errors import UnderlidError
from underlid.files import parquet


def test_readings_read_back_the_same(tmp_path: Path) -> None:
    written = [reading(minute, minute % 3, bed_temp_c=20.0 + minute / 7) for minute in range(50)]
    file = tmp_path / "r.parquet"
    assert parquet.write_readings(file, written) == 50
    found = parquet.read_readings(file, {"tansy-1": "potting"}).readings
    assert found == sorted(written, key=lambda one: (one.received_at_ms, one.taken_at_ms))
    assert str(pq.read_schema(file).field("time").type) == "timestamp[ms, tz=UTC]"


def test_the_journal_reads_back_the_same(tmp_path: Path) -> None:
    written = [
        entry(
            0, "a", kind="feed", ingredient="melon:1200+bread:300", drained_g=100, text='So, "big"'
        ),
        entry(1, "b", kind="sighting", used_up=True, moisture_pct=71.5, lid="drops"),
        entry(2, "c", kind="note", text="= not a formula"),
    ]
    file = tmp_path / "j.parquet"
    assert parquet.write_journal(file, written) == 3
    found = parquet.read_journal(file)
    assert [(one.what, one.text, one.at_ms) for one in found] == [
        (one.what, one.text, one.at_ms) for one in written
    ]


def test_nothing_is_a_file_too(tmp_path: Path) -> None:
    parquet.write_readings(tmp_path / "r.parquet", [])
    assert parquet.read_readings(tmp_path / "r.parquet", {}).readings == []


def test_what_is_not_parquet_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "r.parquet"
    file.write_text("time,probe,channel,value\n")
    with pytest.raises(UnderlidError, match="one that can be read"):
        parquet.read_readings(file, {})


def test_without_pyarrow_the_sentence_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(UnderlidError, match=r"underlid\[parquet\]"):
        parquet.write_readings(tmp_path / "r.parquet", [])
