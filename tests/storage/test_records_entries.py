"""The journal keeps every version; nothing is overwritten, nothing is stored twice."""

from __future__ import annotations

import threading
from dataclasses import replace

import pytest
from hypothesis import given, settings

from journal.strategies import entries
from storage.records_places import PLACE, fresh
from underlid.binmodel.bins import Bin
from underlid.errors import UnderlidError
from underlid.journal.entries import Entry, Feed, Note, Portion

pytestmark = pytest.mark.usefixtures("either_database")

FEED = Entry("e1", "tansy", 1000, 2000, Feed((Portion("melon", 1800.0),), 300.0), "Ash")


def note(id_: str, at_ms: int, bin_id: str = "tansy") -> Entry:
    return Entry(id_, bin_id, at_ms, at_ms, Note(), "Ash", f"note {id_}")


@settings(max_examples=30)
@given(entries())
def test_any_entry_comes_back_exactly(entry: Entry) -> None:
    place = replace(PLACE, bins=PLACE.bins | {"fennel": Bin("fennel", "potting")})
    with fresh(place) as records:
        assert records.add_entry(entry) == entry
        assert records.entry(entry.id) == entry
        assert records.entries(entry.bin) == [entry]


def test_corrections_and_withdrawal_are_further_versions() -> None:
    with fresh() as records:
        records.add_entry(FEED)
        lighter = replace(
            FEED, known_at_ms=3000, what=Feed((Portion("melon", 1500.0),)), by="Robin"
        )
        corrected = records.correct_entry(lighter)
        assert corrected == replace(lighter, version=2)
        withdrawn = records.withdraw_entry("e1", "Ash", 4000)
        assert withdrawn == replace(
            corrected, version=3, known_at_ms=4000, by="Ash", withdrawn=True
        )
        assert records.withdraw_entry("e1", "Ash", 5000) == withdrawn
        assert records.entry_history("e1") == [FEED, corrected, withdrawn]
        assert records.entries("tansy") == []
        assert records.entries("tansy", withdrawn=True) == [withdrawn]
        brought_back = records.correct_entry(replace(FEED, known_at_ms=6000))
        assert (brought_back.version, records.entries("tansy")) == (4, [brought_back])


def test_replay_sees_versions_that_left_the_bin_or_the_window() -> None:
    with fresh() as records:
        for id_ in ("e1", "e2", "e3"):
            records.add_entry(note(id_, 5000))
        records.correct_entry(note("e1", 5000, "sorrel"))
        records.correct_entry(note("e2", 1000))
        seen = {(e.id, e.version, e.bin) for e in records.all_entry_versions("tansy", 4000)}
        assert seen == {
            ("e1", 1, "tansy"),
            ("e1", 2, "sorrel"),
            ("e2", 1, "tansy"),
            ("e2", 2, "tansy"),
            ("e3", 1, "tansy"),
        }


def test_an_idempotency_key_stores_once_and_answers_the_same() -> None:
    with fresh() as records:
        first = records.add_entry(FEED, "phone-7")
        revision = records.revision()
        assert records.add_entry(replace(FEED, id="e2"), "phone-7") == first
        assert records.entries() == [first]
        assert records.revision() == revision
        with pytest.raises(UnderlidError, match="idempotency key"):
            records.add_entry(replace(FEED, id="e3"), "k" * 256)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda records: records.add_entry(FEED), "entry id"),
        (lambda records: records.add_entry(note("e2", 1, "borage")), "bin that is set up"),
        (lambda records: records.correct_entry(note("e9", 1)), "entry in the journal"),
        (lambda records: records.correct_entry(note("e1", 1, "borage")), "bin that is set up"),
        (lambda records: records.withdraw_entry("e9", "Ash", 1), "entry in the journal"),
        (lambda records: records.entries(before="e9"), "entry in the journal"),
    ],
)
def test_wrong_changes_are_refused_and_change_nothing(change: object, words: str) -> None:
    with fresh() as records:
        records.add_entry(FEED)
        before = records.revision()
        with pytest.raises(UnderlidError, match=words):
            change(records)
        assert records.entry_history("e1") == [FEED]
        assert records.revision() == before


def test_pages_follow_each_other_without_gap_or_repeat() -> None:
    with fresh() as records:
        for number in range(25):
            records.add_entry(note(f"e{number:02}", 1000 * (number // 3)))
        pages, before = [], None
        while page := records.entries("tansy", most=4, before=before):
            pages += page
            before = page[-1].id
        assert [e.id for e in pages] == [f"e{number:02}" for number in reversed(range(25))]


def test_entries_are_found_by_bin_and_time() -> None:
    with fresh() as records:
        for number in range(5):
            records.add_entry(note(f"e{number}", 1000 * number))
        records.add_entry(note("s1", 2000, "sorrel"))
        found = records.entries("tansy", from_ms=1000, until_ms=3000)
        assert [e.id for e in found] == ["e2", "e1"]
        assert len(records.entries()) == 6


def test_threads_write_and_read_together_without_loss() -> None:
    with fresh() as records:

        def write(who: int) -> None:
            for number in range(20):
                records.add_entry(note(f"e-{who}-{number}", number), f"key-{number}-{who % 2}")
                records.entries("tansy", most=5)

        threads = [threading.Thread(target=write, args=(who,)) for who in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(records.entries("tansy")) == 40
        assert records.revision() == 41


def test_a_removed_bins_journal_is_there_again_with_the_bin() -> None:
    with fresh() as records:
        records.add_entry(FEED)
        records.remove_bin("tansy")
        assert records.entry("e1") == FEED
        records.save_bin(PLACE.bins["tansy"])
        assert records.entries("tansy") == [FEED]
