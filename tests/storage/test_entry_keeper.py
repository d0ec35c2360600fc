"""Journal entries over MQTT: kept durably, once each, and refused with a sentence."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from underlid.binmodel.bins import Bin, Setup, Shed
from underlid.journal.entries import Feed
from underlid.readings.values import RawEntry
from underlid.storage.entry_keeper import EntryKeeper
from underlid.storage.records import Records
from underlid.timeline import MINUTE_MS

AT_MS = 1_760_000_000_000
FEED: dict[str, object] = {
    "bin": "tansy",
    "kind": "feed",
    "ingredient": "coffee-grounds",
    "mass_g": 900,
    "time": "2025-10-09T08:00:00Z",
}


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'records.sqlite'}"


@pytest.fixture
def records(url: str) -> Iterator[Records]:
    opened = Records.open(url)
    opened.save_setup(
        Setup({"potting": Shed("potting")}, {"tansy": Bin("tansy", "potting", "Tansy")}, {})
    )
    yield opened
    opened.close()


def raw(at_ms: int = AT_MS, **changed: object) -> RawEntry:
    return RawEntry("potting", {**FEED, **changed}, at_ms)


def test_an_entry_is_on_disk_when_it_is_answered(records: Records, url: str) -> None:
    assert EntryKeeper(records)(raw()) is None
    other = Records.open(url)
    (kept,) = other.entries(bin="tansy")
    other.close()
    assert kept.known_at_ms == AT_MS
    assert isinstance(kept.what, Feed)


def test_a_resend_is_kept_once_whatever_the_order_of_its_fields(records: Records) -> None:
    keep = EntryKeeper(records)
    assert keep(raw()) is None
    turned = RawEntry("potting", dict(reversed(FEED.items())), AT_MS + MINUTE_MS)
    assert keep(turned) is None
    assert EntryKeeper(records)(raw(AT_MS + 2 * MINUTE_MS)) is None
    assert len(records.entries(bin="tansy")) == 1


def test_two_feeds_of_one_kind_are_two_entries(records: Records) -> None:
    keep = EntryKeeper(records)
    assert keep(raw()) is None
    assert keep(raw(time="2025-10-09T09:00:00Z")) is None
    assert keep(raw(mass_g=901)) is None
    assert len(records.entries(bin="tansy")) == 3


def test_entries_without_a_time_are_taken_as_they_come(records: Records) -> None:
    keep = EntryKeeper(records)
    assert keep(raw(time="")) is None
    assert keep(raw(AT_MS + MINUTE_MS, time="")) is None
    assert len(records.entries(bin="tansy")) == 2


@pytest.mark.parametrize(
    "changed", [{"kind": "dance"}, {"bin": "nowhere"}, {"mass_g": -1}, {"time": "yesterday"}]
)
def test_what_cannot_be_kept_is_answered_with_a_sentence(
    records: Records, changed: dict[str, object]
) -> None:
    sentence = EntryKeeper(records)(RawEntry("potting", {**FEED, **changed}, AT_MS))
    assert sentence is not None
    assert str(next(iter(changed.values()))) in sentence
    assert records.entries(bin="tansy") == []
