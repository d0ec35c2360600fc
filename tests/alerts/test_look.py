"""The note to look: on which feeds, on which morning, and what makes it needless."""

from __future__ import annotations

from dataclasses import replace

import pytest

from alerts.test_again import TANSY
from underlid.alerts.look import LATE_MOST_MS, fed_between_ms, look_notes
from underlid.binmodel.bins import Setup, Shed
from underlid.journal.entries import (
    Entry,
    Feed,
    Harvest,
    LiquidAdded,
    Note,
    Photo,
    Portion,
    Sighting,
    Squeeze,
    Turned,
    What,
)
from underlid.journal.units import US
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS, parse_time_ms

PLACE = Setup({"potting": Shed("potting", timezone="Europe/London")}, {"tansy": TANSY}, {})
FED_MS = parse_time_ms("2026-03-25T18:30:00Z")
DUE_MS = parse_time_ms("2026-04-01T08:00:00+01:00")
MELON = Feed((Portion("melon", 3200.0),))


def entry(what: What, days: float, bin_id: str = "tansy") -> Entry:
    at_ms = FED_MS + round(days * DAY_MS)
    return Entry(f"{type(what).__name__}{days}", bin_id, at_ms, at_ms, what)


FED = entry(MELON, 0.0)


def texts(*entries: Entry, now_ms: int = DUE_MS, days: int = 7, place: Setup = PLACE) -> list[str]:
    return [one.text.partition(". ")[0] for one in look_notes(place, entries, now_ms, days)]


def test_it_is_due_from_the_morning_of_the_day_on_by_the_wall_clock_of_the_shed() -> None:
    assert texts(FED, now_ms=DUE_MS - 1) == []
    said = "3.2 kg melon went into Tansy: lift the cover and see what is left"
    assert texts(FED) == [f"A week ago {said}"]
    assert texts(FED, now_ms=DUE_MS + LATE_MOST_MS - 1) == [f"10 days ago {said}"]
    assert texts(FED, now_ms=DUE_MS + LATE_MOST_MS) == []
    assert texts(FED, now_ms=DUE_MS - 6 * DAY_MS + HOUR_MS, days=1) == [f"Yesterday {said}"]


def test_the_same_feed_has_the_same_key_and_its_own_units() -> None:
    (first,) = look_notes(PLACE, [FED], DUE_MS, 7)
    (later,) = look_notes(PLACE, [replace(FED, version=2)], DUE_MS + DAY_MS, 7, US)
    assert first.key == later.key
    assert (first.event, first.priority, first.bin, first.shed) == (
        "look_now", "low", "tansy", "potting",
    )  # fmt: skip
    assert "7.05 lb melon" in later.text


@pytest.mark.parametrize(
    "seen",
    [
        entry(Sighting(), 3.5),
        entry(Sighting(squeeze=Squeeze.DAMP), 6.0),
        entry(Turned(), 4.0),
        entry(Harvest(500.0), 5.0),
        entry(Photo(), 6.5),
        entry(Sighting(used_up=True), 1.0),
    ],
)
def test_who_looked_is_not_asked_to(seen: Entry) -> None:
    assert texts(FED, seen) == []
    assert texts(FED, replace(seen, withdrawn=True)) != []
    assert texts(FED, replace(seen, bin="sorrel")) != []


@pytest.mark.parametrize(
    "other",
    [
        entry(Sighting(), 3.4),
        entry(Sighting(used_up=False), 1.0),
        entry(Sighting(used_up=True), -1.0),
        entry(LiquidAdded(500.0), 5.0),
        entry(Note(), 5.0),
        entry(Feed((Portion("bread", 100.0),)), 5.0),
    ],
)
def test_what_shows_no_look_at_this_feed_leaves_it_due(other: Entry) -> None:
    assert len(texts(other, FED)) == 1


def test_only_a_feed_that_stands_and_is_a_week_of_food_counts() -> None:
    assert texts(replace(FED, withdrawn=True)) == []
    assert texts(replace(FED, bin="gone")) == []
    drained = replace(MELON, drained_g=1451.0)
    assert texts(replace(FED, what=drained)) == []
    assert len(texts(replace(FED, what=replace(drained, drained_g=1450.0)))) == 1
    for herd_kg, count in ((1.8, 1), (1.9, 0), (0.0, 0)):
        place = replace(PLACE, bins={"tansy": replace(TANSY, herd_kg=herd_kg)})
        assert len(texts(FED, place=place)) == count


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Pago_Pago", "Asia/Kathmandu"])
@pytest.mark.parametrize("days", [1, 7])
def test_every_feed_that_may_be_due_lies_in_the_span_that_is_read(zone: str, days: int) -> None:
    place = replace(PLACE, sheds={"potting": Shed("potting", timezone=zone)})
    for half_hour in range(48):
        fed = replace(FED, at_ms=FED_MS + half_hour * 30 * MINUTE_MS)
        for hour in range((days + 5) * 24):
            now_ms = fed.at_ms + hour * HOUR_MS
            from_ms, until_ms = fed_between_ms(now_ms, days)
            if texts(fed, now_ms=now_ms, days=days, place=place):
                assert from_ms <= fed.at_ms < until_ms


def test_what_goes_in_within_a_day_is_one_feed_and_one_note() -> None:
    parts = [
        Entry("evening", "tansy", FED_MS, FED_MS, Feed((Portion("melon", 900.0),))),
        Entry("morning", "tansy", FED_MS + 14 * HOUR_MS, FED_MS, Feed((Portion("bread", 1000.0),))),
        Entry("last", "tansy", FED_MS + 23 * HOUR_MS, FED_MS, Feed((Portion("melon", 100.0),))),
    ]
    (note,) = look_notes(PLACE, parts[::-1], DUE_MS, 7)
    assert note.text.startswith("A week ago 1 kg melon and 1 kg bread went into Tansy")
    assert note.key == "look_now:morning"
    assert note.texts["us"].startswith("A week ago 2.2 lb melon and 2.2 lb bread")
    assert texts(*parts, entry(Sighting(used_up=True), 0.9)) != []
    assert texts(*parts, entry(Sighting(used_up=True), 1.0)) == []
    assert texts(parts[0], replace(parts[1], at_ms=FED_MS + DAY_MS)) == []
    assert texts(parts[0], replace(parts[1], bin="sorrel")) == []
    (corrected,) = look_notes(PLACE, [replace(parts[0], id="z"), *parts[1:]], DUE_MS, 7)
    assert corrected.key == note.key
