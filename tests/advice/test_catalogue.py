"""Each finding gets the advice that belongs to it, from the bin it is about."""

from __future__ import annotations

from dataclasses import replace

import pytest

from underlid.advice.catalogue import WET_TARGET_BELOW_LIMIT_PCT, advice_for
from underlid.binmodel.bins import Bin, Shed
from underlid.binmodel.herd import limits_of
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import BeddingAdded, Entry, Feed, Portion, What
from underlid.rules.finding import Condition, Finding, Verdict
from underlid.timeline import HOUR_MS

NOW_MS = 1_760_000_000_000
FED_MS = NOW_MS - 6 * HOUR_MS

SORREL = Bin("sorrel", "potting", "Sorrel", bedding="cardboard", lid_area_m2=0.2)


def window(*whats: tuple[int, What], bin_: Bin = SORREL) -> BinWindow:
    """Return a window without probes: advice needs the bin and its journal only."""
    entries = tuple(
        Entry(f"entry-{number}", bin_.id, at_ms, at_ms, what)
        for number, (at_ms, what) in enumerate(whats)
    )
    shed = Shed("potting", "Potting shed")
    return BinWindow(bin_, shed, limits_of(bin_), NOW_MS, (), (), {}, {}, entries)


def held(condition: Condition, **more: object) -> Finding:
    return replace(Finding(condition, Verdict.HOLDS), **more)  # type: ignore[arg-type]


MELON = Feed((Portion("melon", 1800.0),))


def test_a_wet_lid_gets_the_bedding_for_its_feed_and_its_film() -> None:
    finding = held(
        Condition.CONDENSATION, evidence={"lid_film_g_m2": 100.0}, cause="feed", feed_at_ms=FED_MS
    )
    advice, aired = advice_for(finding, window((FED_MS, MELON)))
    assert aired.act == "air-lid"
    # computed by hand: (1800·(92 − 75) + 20·(100 − 75))/(75 − 8) = 464 g
    assert advice.amount_g == 460.0
    assert "cardboard over the feed" in advice.text
    later = (NOW_MS - HOUR_MS, BeddingAdded((Portion("cardboard", 300.0),)))
    less, _ = advice_for(finding, window((FED_MS, MELON), later))
    assert less.amount_g == 165.0


def test_a_wet_lid_without_a_feed_gets_bedding_for_its_water_alone() -> None:
    finding = held(Condition.CONDENSATION, evidence={"lid_film_g_m2": 300.0})
    advice, _ = advice_for(finding, window())
    # computed by hand: 60 g of water, 60·25/67 = 22 g
    assert advice.amount_g == 22.0
    assert "over the bed" in advice.text


def test_water_for_a_dry_bed_and_bedding_for_a_wet_one() -> None:
    dry = held(Condition.DRYING_OUT, evidence={"moisture_pct": 70.0})
    assert advice_for(dry, window())[0].amount_ml == 4400.0
    wet = held(Condition.TOO_WET, evidence={"moisture_pct": 87.0})
    (advice,) = advice_for(wet, window())
    target = limits_of(SORREL).moisture_high_warn_pct - WET_TARGET_BELOW_LIMIT_PCT
    # computed by hand: 22 kg·(87 − 83)/(83 − 8) = 1173 g, weighed to 50 g
    assert (target, advice.amount_g) == (83.0, 1150.0)


@pytest.mark.parametrize(("cause", "act"), [("feed", "spread-feed"), ("room", "cool-room")])
def test_heat_gets_what_its_cause_asks_for(cause: str, act: str) -> None:
    finding = held(Condition.OVERHEATING, cause=cause, feed_at_ms=FED_MS)
    assert advice_for(finding, window((FED_MS, MELON)))[0].act == act


def test_cold_is_insulated_and_a_probe_fault_gets_no_husbandry() -> None:
    assert advice_for(held(Condition.TOO_COLD), window())[0].act == "insulate"
    assert advice_for(held(Condition.PROBE_FAULT, subject="sorrel-1"), window()) == ()


def test_a_bedding_that_the_table_does_not_have_is_taken_as_newspaper() -> None:
    finding = held(Condition.TOO_WET, evidence={"moisture_pct": 87.0})
    (advice,) = advice_for(finding, window(bin_=replace(SORREL, bedding="moss")))
    assert "newspaper" in advice.text
