"""Rows of an old notebook become entries, and entries become rows that read back."""

from __future__ import annotations

import io

import pytest
from hypothesis import given

from files.samples import T0_MS, entry
from journal.strategies import entries as any_entries
from underlid.errors import UnderlidError
from underlid.files.journal_csv import read_entries, write_journal
from underlid.files.refused_rows import RefusedRows
from underlid.journal.entries import Entry, Feed, Portion, Sighting
from underlid.readings.admission import EARLIEST_MS
from underlid.timeline import HOUR_MS, rfc3339

HEADER = "time,bin,kind,ingredient,mass_g,drained_g,lid,text,received\n"


def test_rows_become_entries() -> None:
    found = read_entries(
        io.StringIO(
            HEADER
            + f'{rfc3339(T0_MS)},tansy,feed,melon+bread,1800,200,,"Bread, too",\n'
            + f"{rfc3339(T0_MS + HOUR_MS)},tansy,sighting,,,,drops,,{rfc3339(T0_MS + 9 * HOUR_MS)}\n"
        ),
        "j.csv",
    )
    assert found[0].what == Feed((Portion("melon", 900.0), Portion("bread", 900.0)), 200.0)
    assert (found[0].text, found[0].known_at_ms) == ("Bread, too", T0_MS)
    assert isinstance(found[1].what, Sighting)
    assert found[1].known_at_ms == T0_MS + 9 * HOUR_MS


def test_the_same_row_twice_is_two_entries_and_the_same_file_again_is_the_same() -> None:
    text = HEADER + f"{rfc3339(T0_MS)},tansy,water,,600,,,,\n" * 2
    once, again = (read_entries(io.StringIO(text), "j.csv") for _ in range(2))
    assert once == again
    assert len({one.id for one in once}) == 2


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (",tansy,water,,600,,,,", "time is empty"),
        ("noon,tansy,water,,600,,,,", "time is 'noon'"),
        ("2026-05-01T10:00:00Z,,water,,600,,,,", "the id of a bin"),
        ("2026-05-01T10:00:00Z,tansy,dance,,,,,,", "feed or bedding"),
        ("2026-05-01T10:00:00Z,tansy,feed,melom,600,,,,", "melon"),
        ("2026-05-01T10:00:00Z,tansy,water,,much,,,,", "a number such as"),
        ("2026-05-01T10:00:00Z,tansy,water,,600,,,,,surplus", "no more columns"),
        ("2026-05-01T10:00:00Z,tansy,water,melon,600,,,,", "field ingredient of a water entry"),
    ],
)
def test_a_bad_row_is_refused_by_line_or_counted(row: str, says: str) -> None:
    good = f"{rfc3339(T0_MS)},tansy,note,,,,,fine,\n"
    with pytest.raises(UnderlidError) as error:
        read_entries(io.StringIO(f"{HEADER}{good}{row}\n"), "j.csv")
    assert "j.csv line 3" in str(error.value)
    assert says in str(error.value)
    refused = RefusedRows(skip=True)
    assert len(read_entries(io.StringIO(f"{HEADER}{row}\n{good}"), "j.csv", refused)) == 1
    assert refused.count == 1


def test_a_file_without_its_columns_is_refused() -> None:
    with pytest.raises(UnderlidError, match=r"first line of j\.csv"):
        read_entries(io.StringIO("time,kind\n"), "j.csv")


@given(any_entries())
def test_what_is_written_reads_back_the_same(one: Entry) -> None:
    if one.known_at_ms < EARLIEST_MS:
        return
    out = io.StringIO()
    write_journal(out, [one])
    (found,) = read_entries(io.StringIO(out.getvalue()), "j.csv")
    assert (found.what, found.bin, found.text, found.by) == (one.what, one.bin, one.text, one.by)
    assert (found.at_ms, found.known_at_ms) == (one.at_ms, one.known_at_ms)


def test_a_yes_survives() -> None:
    out = io.StringIO()
    write_journal(out, [entry(0, kind="sighting", used_up=True, lid="mist")])
    assert ",yes," in out.getvalue()
