"""One line says what an entry was, in the keeper's units."""

from __future__ import annotations

import pytest
from hypothesis import given

from journal.strategies import entries
from underlid.journal.entries import (
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
    What,
    Worms,
)
from underlid.journal.summary import summary, what_text
from underlid.journal.units import US

MELON = Feed((Portion("melon", 1800.0),), 300.0, (Portion("newspaper", 400.0),))


@pytest.mark.parametrize(
    ("what", "line"),
    [
        (MELON, "1.8 kg melon, drained 300 g, 400 g shredded newspaper on top"),
        (
            Feed((Portion("melon", 500.0), Portion("bread", 200.0), Portion("citrus", 90.0))),
            "500 g melon, 200 g bread and 90 g citrus",
        ),
        (BeddingAdded((Portion("coir", 250.0),)), "250 g coir as bedding"),
        (LiquidAdded(500.0), "500 mL water"),
        (LiquidAdded(1500.0, Liquid.LEACHATE), "1.5 L leachate"),
        (Amendment((Portion("eggshell", 80.0),)), "80 g crushed eggshell"),
        (Worms(250.0), "250 g worms added"),
        (Worms(-250.0), "250 g worms taken out"),
        (Harvest(3500.0), "3.5 kg castings harvested"),
        (
            Sighting(Climbers.MANY, LidLook.DRIPPING, Squeeze.TRICKLE, Smell.SOUR, "flies", True),
            "many climbers, lid dripping, a squeezed handful trickles, sour smell, pests: flies, "
            "last feed used up",
        ),
        (Sighting(moisture_pct=78.54), "bed moisture 78.5 % by weighed sample"),
        (Sighting(), "looked in"),
        (Turned(), "bed turned"),
        (Moved(), "bin moved or set up"),
        (Photo("a.jpg"), "photo, kept elsewhere as a.jpg"),
        (Photo(), "photo"),
        (Note(), "note"),
        (Feed((Portion("seaweed", 90.0),)), "90 g seaweed"),
    ],
)
def test_says_what_was_done_or_seen(what: What, line: str) -> None:
    assert what_text(what) == line


def test_follows_the_keepers_units() -> None:
    assert what_text(MELON, US) == (
        "3.97 lb melon, drained 10.6 oz, 14.1 oz shredded newspaper on top"
    )


@given(entries())
def test_is_one_line_for_any_entry(entry: Entry) -> None:
    assert summary(entry)
    assert "\n" not in summary(entry)
