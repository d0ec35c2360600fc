"""Photos in the records: each change is a further version; an erased one is gone; all outlive a restart."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from storage.records_places import PLACE, SQLITE, Chosen, address, everything
from underlid.errors import UnderlidError
from underlid.journal.entries import Entry, Note
from underlid.journal.photos import EntryPhoto, PhotoState, PictureSize, PreparedPhoto
from underlid.storage.records import Records
from underlid.storage.records.photos import PHOTOS_OF_ENTRY_MOST

pytestmark = pytest.mark.usefixtures("either_database")

ENTRY = Entry("e1", "tansy", 1000, 1000, Note(), "Ash", "mould")
ROOM_BYTES = 1_000_000
FULL, SMALL = b"full \x00\xff picture" * 900, b"small picture"


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    opened = Records.open(address(tmp_path))
    opened.save_setup(PLACE)
    opened.add_entry(ENTRY)
    yield opened
    opened.close()


def add(records: Records, id_: str, at_ms: int = 2000, **more: object) -> EntryPhoto:
    prepared = PreparedPhoto(FULL + id_.encode(), SMALL, 640, 480, f"sum of {id_}")
    given = {"words": "", "room_bytes": ROOM_BYTES, "by": "Ash"} | more
    return records.add_photo("e1", prepared, new_id=id_, at_ms=at_ms, **given)  # type: ignore[arg-type]


def test_a_photo_and_its_pictures_outlive_a_restart(records: Records, tmp_path: Path) -> None:
    before = records.revision()
    photo = add(records, "p1", words="white mould")
    assert photo == EntryPhoto(
        "p1", "e1", 2000, "Ash", "white mould", PhotoState.SHOWN, 1, 640, 480,
        len(FULL) + 2 + len(SMALL),
    )  # fmt: skip
    assert records.revision() > before, "pages of other workers look again"
    records.close()
    again = Records.open(address(tmp_path))
    assert again.photos_of(["e1", "e2"]) == {"e1": [photo]}
    assert again.photo_bytes() == photo.size_bytes
    assert again.picture("p1", PictureSize.FULL) == FULL + b"p1"
    assert again.picture("p1", PictureSize.SMALL) == SMALL
    assert again.picture("p2", PictureSize.SMALL) is None
    again.close()


def test_the_same_file_is_one_photo_of_an_entry(records: Records) -> None:
    first = add(records, "p1")
    prepared = PreparedPhoto(FULL, SMALL, 640, 480, "sum of p1")
    again = records.add_photo(
        "e1", prepared, new_id="p2", by="Robin", words="", at_ms=3000, room_bytes=ROOM_BYTES
    )
    assert again == first
    records.remove_photo("p1", "Ash", 4000)
    back = records.add_photo(
        "e1", prepared, new_id="p3", by="Robin", words="", at_ms=5000, room_bytes=ROOM_BYTES
    )
    assert back.id == "p3"


def test_words_and_removal_are_further_versions(records: Records) -> None:
    first = add(records, "p1")
    add(records, "p2")
    told = records.describe_photo("p1", "mites", "Robin", 3000)
    assert told == replace(first, version=2, words="mites", by="Robin", known_at_ms=3000)
    assert records.describe_photo("p1", "mites", "Ash", 3500) == told
    assert [one.id for one in records.photos_of(["e1"])["e1"]] == ["p1", "p2"]
    gone = records.remove_photo("p1", "Ash", 4000)
    assert gone == replace(told, version=3, state=PhotoState.REMOVED, by="Ash", known_at_ms=4000)
    assert records.remove_photo("p1", "Ash", 5000) == gone
    assert [one.id for one in records.photos_of(["e1"])["e1"]] == ["p2"]
    assert [one for one in records.photo_history("e1") if one.id == "p1"] == [first, told, gone]
    assert records.picture("p1", PictureSize.FULL) == FULL + b"p1", "the history still shows it"


def test_an_erased_photo_is_gone_words_and_all(records: Records, tmp_path: Path) -> None:
    prepared = PreparedPhoto(b"face " * 4000, b"face", 9, 9, "sum")
    records.add_photo(
        "e1", prepared, new_id="p1", by="Ash", words="Robin's face", at_ms=1, room_bytes=ROOM_BYTES
    )
    records.remove_photo("p1", "Ash", 2)
    erased = records.erase_photo("p1", "Lee", 3)
    assert (erased.state, erased.words, erased.size_bytes) == (PhotoState.ERASED, "", 0)
    assert records.picture("p1", PictureSize.FULL) is None
    assert [one.words for one in records.photo_history("e1")] == ["", "", ""]
    assert records.describe_photo("p1", "who it was", "Ash", 4) == erased
    assert records.remove_photo("p1", "Ash", 5) == erased
    records.close()  # an SQLite file's log goes with its last connection
    if Chosen.kind == SQLITE:
        assert b"face" not in everything(tmp_path)


def test_one_too_many_is_refused_of_an_entry_and_of_the_place(records: Records) -> None:
    for number in range(PHOTOS_OF_ENTRY_MOST):
        add(records, f"p{number}")
    with pytest.raises(UnderlidError, match="at most 12 with one entry"):
        add(records, "one too many")
    records.remove_photo("p0", "Ash", 1)
    with pytest.raises(UnderlidError, match="room for photos is 0 of 0 MB taken"):
        add(records, "no room", room_bytes=PHOTOS_OF_ENTRY_MOST * len(FULL))
    records.erase_photo("p0", "Ash", 2)
    add(records, "room again", room_bytes=PHOTOS_OF_ENTRY_MOST * (len(FULL) + 40))


def test_a_photo_needs_an_entry_that_stands(records: Records) -> None:
    prepared = PreparedPhoto(FULL, SMALL, 1, 1, "x")
    for entry_id, sentence in (("nowhere", "entry id is"), ("e1", "one that is not withdrawn")):
        records.withdraw_entry("e1", "Ash", 5)
        with pytest.raises(UnderlidError, match=sentence):
            records.add_photo(
                entry_id, prepared, new_id="p", by="", words="", at_ms=1, room_bytes=ROOM_BYTES
            )
    with pytest.raises(UnderlidError, match="photo id is 'p'"):
        records.remove_photo("p", "Ash", 1)


def test_many_entries_are_asked_for_at_once(records: Records) -> None:
    add(records, "p1")
    ids = [f"no{number}" for number in range(12_000)]
    assert list(records.photos_of([*ids, "e1"])) == ["e1"]
    assert records.photos_of([]) == {}
