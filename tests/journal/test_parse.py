"""One way in for the journal: every field of every kind, and every refusal."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from journal.strategies import entries
from underlid.errors import UnderlidError
from underlid.journal.entries import (
    KINDS,
    Amendment,
    BeddingAdded,
    Climbers,
    Entry,
    Feed,
    Harvest,
    LidLook,
    Liquid,
    LiquidAdded,
    Moved,
    Note,
    Photo,
    Portion,
    Sighting,
    Smell,
    Squeeze,
    Turned,
    Worms,
)
from underlid.journal.parse import entry_from_fields, fields_from_entry

KNOWN_AT_MS = 1_777_660_200_000  # 2026-05-01T18:30:00Z


def read(**fields: object) -> Entry:
    return entry_from_fields({"bin": "tansy"} | fields, known_at_ms=KNOWN_AT_MS, new_id="e1")


def refusal(**fields: object) -> str:
    with pytest.raises(UnderlidError) as caught:
        read(**fields)
    return str(caught.value)


@pytest.mark.parametrize(
    ("fields", "what"),
    [
        (
            {"kind": "feed", "ingredient": "melon", "mass_g": "1800", "drained_g": "300"},
            Feed((Portion("melon", 1800.0),), 300.0),
        ),
        (
            {"kind": "feed", "ingredient": "melon+coffee-grounds", "mass_kg": 1},
            Feed((Portion("melon", 500.0), Portion("coffee-grounds", 500.0))),
        ),
        (
            {"kind": "feed", "ingredient": "melon:1200+bread:300", "bedding": "newspaper:400"},
            Feed(
                (Portion("melon", 1200.0), Portion("bread", 300.0)),
                0.0,
                (Portion("newspaper", 400.0),),
            ),
        ),
        (
            {"kind": "feed", "ingredient": {"melon": 1200, "bread": 300}},
            Feed((Portion("melon", 1200.0), Portion("bread", 300.0))),
        ),
        (
            {
                "kind": "feed",
                "ingredient": "Coffee grounds",
                "mass_lb": "4",
                "bedding": "newspaper",
                "bedding_oz": "8",
            },
            Feed(
                (Portion("coffee-grounds", 1814.36948),), 0.0, (Portion("newspaper", 226.796185),)
            ),
        ),
        (
            {"kind": "feed", "ingredient": "melon", "mass_lb": 1, "mass_oz": 8},
            Feed((Portion("melon", 680.388555),)),
        ),
        (
            {"kind": "bedding", "ingredient": "cardboard", "mass_g": 250},
            BeddingAdded((Portion("cardboard", 250.0),)),
        ),
        ({"kind": "water", "mass_g": "500"}, LiquidAdded(500.0)),
        (
            {"kind": "water", "volume_ml": 350, "liquid": "leachate"},
            LiquidAdded(350.0, Liquid.LEACHATE),
        ),
        ({"kind": "water", "volume_cups": 2}, LiquidAdded(473.176473)),
        (
            {"kind": "amendment", "ingredient": "eggshell", "mass_g": 80},
            Amendment((Portion("eggshell", 80.0),)),
        ),
        ({"kind": "worms", "mass_g": -250}, Worms(-250.0)),
        ({"kind": "harvest", "mass_kg": 3.5}, Harvest(3500.0)),
        (
            {
                "kind": "sighting",
                "climbers": "Many",
                "lid": "dripping",
                "squeeze": "trickle",
                "smell": "sour",
                "pests": "fruit flies",
                "used_up": "no",
                "moisture_pct": "78.5",
            },
            Sighting(
                Climbers.MANY,
                LidLook.DRIPPING,
                Squeeze.TRICKLE,
                Smell.SOUR,
                "fruit flies",
                False,
                78.5,
            ),
        ),
        ({"kind": "sighting", "used_up": True}, Sighting(used_up=True)),
        ({"kind": "turned"}, Turned()),
        ({"kind": "move", "text": "from the boiler room"}, Moved()),
        ({"kind": "photo", "file": "2026-05-01.jpg"}, Photo("2026-05-01.jpg")),
        ({"kind": "photo"}, Photo()),
        ({"kind": "note", "text": "quiet"}, Note()),
    ],
)
def test_reads_every_kind(fields: dict[str, object], what: object) -> None:
    assert read(**fields).what == what


def test_the_cases_above_cover_every_kind_of_entry() -> None:
    cases = test_reads_every_kind.pytestmark[0].args[1]
    assert {fields["kind"] for fields, _ in cases} == set(KINDS)


def test_an_entry_happened_when_it_became_known_unless_it_says_when() -> None:
    assert read(kind="turned").at_ms == KNOWN_AT_MS
    for time in ("2026-05-01T10:00:00Z", "2026-05-01T11:00:00+01:00", "1777629600", 1777629600):
        assert read(kind="turned", time=time).at_ms == 1_777_629_600_000


def test_who_is_known_to_write_wins_over_who_is_said_to() -> None:
    fields = {"bin": "tansy", "kind": "turned", "by": "Robin"}
    assert read(**fields).by == "Robin"
    known = entry_from_fields(fields, known_at_ms=KNOWN_AT_MS, by="Ash", new_id="e1")
    assert known.by == "Ash"


def test_empty_columns_of_a_file_count_as_absent() -> None:
    entry = read(kind="water", mass_g="500", ingredient="", climbers=" ", text=None, received="x")
    assert entry.what == LiquidAdded(500.0)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"kind": "party"}, "kind of entry is 'party', expected feed or bedding"),
        ({"kind": "feed", "mass_g": 5}, "kitchen-scraps will do"),
        ({"kind": "feed", "ingredient": "melon"}, "ingredient without a mass"),
        ({"kind": "feed", "ingredient": "mellon", "mass_g": 5}, "expected melon"),
        ({"kind": "feed", "ingredient": "melon:5+bread", "mass_g": 9}, "for every ingredient"),
        ({"kind": "feed", "ingredient": "melon:50+bread:50", "mass_g": 200}, "sum of its parts"),
        ({"kind": "feed", "ingredient": "melon", "mass_g": 100, "drained_g": 100}, "before drain"),
        ({"kind": "feed", "ingredient": "melon", "mass_g": 5, "bedding_g": 5}, "id of a bedding"),
        ({"kind": "feed", "ingredient": "+".join(["melon"] * 25), "mass_g": 5}, "1 to 24"),
        ({"kind": "feed", "ingredient": 5, "mass_g": 5}, "1 to 24 feedstock ids"),
        ({"kind": "feed", "ingredient": "melon", "mass_g": 1, "mass_kg": 1}, "more than one unit"),
        ({"kind": "water"}, "Give mass_g"),
        ({"kind": "water", "mass_g": 0}, "more than 0"),
        ({"kind": "water", "mass_g": 3_000_000}, "at most 2000000 g"),
        ({"kind": "water", "mass_g": 1, "volume_ml": 1}, "mass and volume"),
        ({"kind": "water", "mass_g": "1,5"}, "a number such as 1.5"),
        ({"kind": "water", "mass_g": "nan"}, "a number such as 1.5"),
        ({"kind": "water", "mass_g": True}, "a number such as 1.5"),
        ({"kind": "water", "mass_g": 10**5000}, "a number such as 1.5"),
        ({"kind": "water", "mass_g": 5, "liquid": "milk"}, "water or leachate"),
        ({"kind": "worms", "mass_g": 0}, "more than 0"),
        ({"kind": "sighting"}, "something noted"),
        ({"kind": "sighting", "climbers": "lots"}, "none or few or many"),
        ({"kind": "sighting", "climbers": ["many"]}, "none or few or many"),
        ({"kind": "sighting", "used_up": "maybe"}, "yes or no"),
        ({"kind": "sighting", "moisture_pct": 0.7}, "from 1 to 99"),
        ({"kind": "photo", "file": "../secrets"}, "plain file name"),
        ({"kind": "note"}, "something noted"),
        ({"kind": "note", "text": "nul \0 byte"}, "text of at most 4000"),
        ({"kind": "note", "text": "half a \ud800 pair"}, "text of at most 4000"),
        ({"kind": "note", "text": "long" * 1001}, "text of at most 4000"),
        ({"kind": "turned", "bin": "Tansy!"}, "the id of a bin"),
        ({"kind": "turned", "mass_gg": 5}, "field mass_gg of a turned entry"),
        ({"kind": "feed", "ingredient": "melon", "mass_g": 5, "lid": "dry"}, "of its own"),
        ({"kind": "turned", "time": "2026-05-01T18:30:00"}, "with its offset"),
        ({"kind": "turned", "time": "2026-05-01T18:41:00Z"}, "not in the future"),
        ({"kind": "turned", "time": 10**400}, "a time since 1970"),
        ({"kind": "turned", "time": -5}, "a time since 1970"),
    ],
)
def test_refuses_in_words(fields: dict[str, object], words: str) -> None:
    assert words in refusal(**fields)


@given(entries())
def test_what_is_written_reads_back_the_same(entry: Entry) -> None:
    fields = fields_from_entry(entry)
    assert entry_from_fields(fields, known_at_ms=entry.known_at_ms, new_id=entry.id) == entry


@given(entries())
def test_a_csv_file_keeps_every_entry(entry: Entry) -> None:
    text = io.StringIO(newline="")
    fields = fields_from_entry(entry)
    writer = csv.DictWriter(text, [*fields, "smell"] if "smell" not in fields else [*fields])
    writer.writeheader()
    writer.writerow(fields)
    (row,) = csv.DictReader(io.StringIO(text.getvalue(), newline=""))
    assert entry_from_fields(row, known_at_ms=entry.known_at_ms, new_id=entry.id) == entry


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=6,
)
field_names = st.sampled_from(
    [
        "bin",
        "kind",
        "time",
        "by",
        "text",
        "ingredient",
        "mass_g",
        "mass_lb",
        "mass_oz",
        "drained_g",
        "bedding",
        "bedding_g",
        "volume_ml",
        "liquid",
        "climbers",
        "lid",
        "squeeze",
        "smell",
        "pests",
        "used_up",
        "moisture_pct",
        "file",
    ]
)
likely_values = st.sampled_from(
    ["tansy", *KINDS, "melon", "melon+bread", "melon:5", "newspaper", "500", "-1", "1e300", "many"]
)


@given(st.dictionaries(field_names | st.text(), likely_values | json_values))
def test_any_mapping_gives_an_entry_or_a_sentence(fields: dict[str, object]) -> None:
    try:
        kind = entry_from_fields(fields, known_at_ms=KNOWN_AT_MS, new_id="e1").kind
    except UnderlidError as error:
        kind = "note" if str(error) else ""
    assert kind in KINDS
