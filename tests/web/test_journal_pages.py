"""The journal's forms, as a browser without scripts uses them."""

from __future__ import annotations

import re

import pytest

from underlid.journal.entries import Feed, LiquidAdded, Portion, Sighting
from underlid.timeline import HOUR_MS
from web.household import MELON_AND_BREAD, NOW_MS, Household
from web.visiting import Visitor

FEED = {
    "bin": "tansy",
    "kind": "feed",
    "unit": "kg",
    "ingredient_1": "melon",
    "mass_1": "1,2",
    "ingredient_2": "bread",
    "mass_2": "0.3",
    "drained": "0.25",
    "bedding": "newspaper",
    "bedding_mass": "0.4",
    "when": "2026-06-11T18:30",
    "text": "half the melon",
    "once": "tap-1",
}


def test_a_feed_is_written_once_with_local_time_and_units(house: Household, ash: Visitor) -> None:
    for _ in range(2):
        answer = ash.send("/journal/write", FEED, "/journal/write?bin=tansy")
        assert answer.headers["location"] == "/bin/tansy?said=entry"
    (entry,) = house.records.entries()
    assert entry.what == Feed(
        (Portion("melon", 1200.0), Portion("bread", 300.0)), 250.0, (Portion("newspaper", 400.0),)
    )
    assert entry.at_ms == 1_781_199_000_000  # 17:30 UTC: London is an hour ahead in June
    assert entry.by == "Ash"
    assert "Written down." in ash.read("/bin/tansy?said=entry")


def test_same_as_last_time_is_one_tap(house: Household, ash: Visitor) -> None:
    fed = house.write_down(MELON_AND_BREAD, 70 * HOUR_MS)
    page = ash.read("/journal/write?bin=tansy&kind=feed")
    assert "Same as last time" in page
    fields = {"bin": "tansy", "again": fed.id, "kind": "feed", "once": "tap-2"}
    assert ash.send("/journal/write", fields, "/journal").status_code == 303
    newest = house.records.entries()[0]
    assert newest.what == fed.what
    assert newest.at_ms == NOW_MS


@pytest.mark.parametrize(
    ("kind", "fields", "what"),
    [
        ("water", {"liquid": "leachate", "mass": "500", "unit": "g"}, LiquidAdded),
        ("worms", {"mass": "-250", "unit": "g"}, None),
        ("harvest", {"mass": "3", "unit": "lb"}, None),
        ("bedding", {"ingredient_1": "straw", "mass_1": "200", "unit": "g"}, None),
        ("amendment", {"ingredient_1": "eggshell", "mass_1": "2", "unit": "oz"}, None),
        ("sighting", {"climbers": "few", "lid": "drops", "moisture_pct": "71,5"}, Sighting),
        ("turned", {}, None),
        ("move", {}, None),
        ("note", {"text": "a toad by the door"}, None),
    ],
)
def test_every_kind_is_written_shown_and_can_be_corrected(
    house: Household, ash: Visitor, kind: str, fields: dict[str, str], what: type | None
) -> None:
    on = f"/journal/write?bin=tansy&kind={kind}"
    answer = ash.send("/journal/write", {"bin": "tansy", "kind": kind, **fields}, on)
    assert answer.status_code == 303, answer.text
    (entry,) = house.records.entries()
    assert entry.kind == kind
    assert what is None or isinstance(entry.what, what)
    form = ash.read(f"/journal/{entry.id}/correct")
    given = dict(re.findall(r'<input id="(\w+)" name="\w+"[^>]* value="([^"]*)"', form))
    if "mass" in fields:
        assert float(given["mass"]) == pytest.approx(entry.what.mass_g)  # type: ignore[union-attr]


WRONG_FEED = [
    ({"bin": "nowhere"}, "Bin is"),
    ({"kind": "party"}, "Kind of entry is"),
    ({"unit": "stone"}, "Unit is"),
    ({"ingredient_1": "plastic"}, "Ingredient is"),
    ({"mass_1": "lots"}, "Mass is"),
    ({"mass_1": "nan"}, "Mass is"),
    ({"mass_1": "1e999"}, "Mass is"),
    ({"mass_1": ""}, "Mass of melon is"),
    ({"ingredient_1": "", "mass_1": "", "ingredient_2": "", "mass_2": ""}, "Ingredient is"),
    ({"drained": "99"}, "Drained liquid is 99000 g"),
    ({"drained": "-1"}, "Drained liquid is"),
    ({"bedding": ""}, "Bedding on top is"),
    ({"bedding": "gold"}, "Bedding is"),
    ({"bedding_mass": ""}, "Bedding on top is"),
    ({"when": "yesterday"}, "Time is"),
    (
        {"when": "2031-01-01T00:00"},
        "Time is &#39;2031-01-01 00:00&#39;, expected a time since 1970",
    ),
    ({"text": "x" * 4001}, "Text is"),
]


@pytest.mark.parametrize(("wrong", "sentence"), WRONG_FEED)
def test_a_wrong_field_gives_its_sentence_and_keeps_the_rest(
    still: Household, looker: Visitor, wrong: dict[str, str], sentence: str
) -> None:
    answer = looker.send("/journal/write", {**FEED, **wrong}, "/journal/write?bin=tansy")
    assert answer.status_code == 422
    refusal = re.search(r'id="refusal">(.*?)</p>', answer.text, re.DOTALL)
    assert refusal is not None
    assert refusal[1].startswith(sentence), refusal[1]
    assert not still.records.entries()
    if "text" not in wrong and "kind" not in wrong:
        assert "half the melon" in answer.text


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"kind": "sighting", "moisture_pct": "200"}, "Weighed moisture"),
        ({"kind": "sighting"}, "Entry is"),
        ({"kind": "sighting", "sample_wet": "10"}, "Weighed sample is empty, expected both"),
        ({"kind": "sighting", "sample_wet": "2", "sample_dry": "10"}, "Weight of the dried"),
        (
            {"kind": "sighting", "sample_wet": "10", "sample_dry": "2", "moisture_pct": "80"},
            "Weighed sample is &#39;80&#39;, expected either",
        ),
        ({"kind": "sighting", "climbers": "thousands"}, "Climbers is"),
        ({"kind": "water"}, "Amount is empty"),
        ({"kind": "water", "mass": "-2"}, "Amount is &#39;-2&#39;, expected a number from 0"),
        ({"kind": "worms", "mass": "2 lb"}, "Amount is &#39;2 lb&#39;, expected a number. Write"),
        ({"kind": "worms", "mass": "0"}, "Amount is 0 g"),
        ({"kind": "note"}, "Entry is"),
    ],
)
def test_other_kinds_refuse_in_words_too(
    looker: Visitor, fields: dict[str, str], sentence: str
) -> None:
    answer = looker.send("/journal/write", {"bin": "tansy", **fields}, "/journal/write")
    assert answer.status_code == 422
    assert f'id="refusal">{sentence}' in answer.text


def test_two_weights_make_the_moisture_of_a_sample(house: Household, ash: Visitor) -> None:
    fields = {"bin": "tansy", "kind": "sighting", "sample_wet": "10,0", "sample_dry": "2.3"}
    assert ash.send("/journal/write", fields, "/journal/write").status_code == 303
    (entry,) = house.records.entries()
    assert isinstance(entry.what, Sighting)
    assert entry.what.moisture_pct == 77.0
    assert 'value="77"' in ash.read(f"/journal/{entry.id}/correct")


def test_an_entry_is_corrected_withdrawn_and_keeps_its_history(
    house: Household, ash: Visitor
) -> None:
    fed = house.write_down(MELON_AND_BREAD, 70 * HOUR_MS).id
    fields = {**FEED, "mass_1": "2", "when": ""}
    answer = ash.send(f"/journal/{fed}/correct", fields, f"/journal/{fed}/correct")
    assert answer.headers["location"] == f"/journal/{fed}?said=corrected"
    assert ash.send(f"/journal/{fed}/withdraw", {}, f"/journal/{fed}").status_code == 303
    page = ash.read(f"/journal/{fed}")
    for words in ("written by Ash", "corrected by Ash", "withdrawn by Ash", "Withdrawn."):
        assert words in page
    assert [one.version for one in house.records.entry_history(fed)] == [1, 2, 3]
    assert "(withdrawn)" in ash.read("/journal?bin=tansy")
