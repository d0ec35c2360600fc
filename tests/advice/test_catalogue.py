"""Each finding gets the advice that belongs to it, from the bin it is about."""

from __future__ import annotations

from dataclasses import replace

import pytest

from underlid.advice.catalogue import advice_for
from underlid.binmodel.bins import Bin, Shed
from underlid.binmodel.herd import limits_of
from underlid.binmodel.known import Known
from underlid.binmodel.lids.film import LidFilm
from underlid.binmodel.water.drying import Drying
from underlid.binmodel.window import BinWindow
from underlid.journal.entries import BeddingAdded, Entry, Feed, Moved, Portion, What
from underlid.rules.finding import Advice, Condition, Finding, Verdict
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


def advised(
    finding: Finding, seen: BinWindow, moisture_pct: float | None = None
) -> tuple[Advice, ...]:
    """Return the advice where the bed's moisture is that much, or not known."""
    drying = None if moisture_pct is None else Drying(moisture_pct, None, None, None, 0.0)
    return advice_for(finding, seen, Known(LidFilm(NOW_MS), drying, None))


MELON = Feed((Portion("melon", 1800.0),))


def test_a_wet_lid_gets_the_bedding_for_its_feed_and_its_film() -> None:
    finding = held(
        Condition.CONDENSATION, evidence={"lid_film_g_m2": 100.0}, cause="feed", feed_at_ms=FED_MS
    )
    advice, aired = advised(finding, window((FED_MS, MELON)))
    assert aired.act == "air-lid"
    # computed by hand: (1800·(92 − 75) + 20·(100 − 75))/(75 − 8) = 464 g
    assert advice.amount_g == 460.0
    assert "cardboard over the feed" in advice.text
    later = (NOW_MS - HOUR_MS, BeddingAdded((Portion("cardboard", 300.0),)))
    less, _ = advised(finding, window((FED_MS, MELON), later))
    assert less.amount_g == 165.0


def test_a_wet_lid_without_a_feed_gets_bedding_for_its_water_alone() -> None:
    finding = held(Condition.CONDENSATION, evidence={"lid_film_g_m2": 900.0})
    advice, _ = advised(finding, window())
    # computed by hand: 180 g of water, 180·25/67 = 67 g
    assert advice.amount_g == 67.0
    assert "over the bed" in advice.text


def test_water_for_a_dry_bed_and_bedding_for_a_wet_one() -> None:
    # computed by hand: 22 kg at 75 % are 5.5 kg dry; 5.5 · (3 − 2.333) = 3.67 L
    dry = held(Condition.DRYING_OUT, evidence={"moisture_pct": 70.0})
    assert advised(dry, window(), 70.0)[0].amount_ml == 3650.0
    # computed by hand: 5.5 kg dry at 87 % weigh 42.3 kg; 42.3 · 12/67 = 7.58 kg, of which 72 % fit
    wet = held(Condition.TOO_WET, evidence={"moisture_pct": 87.0})
    advice, drained = advised(wet, window(), 87.0)
    assert advice.amount_g == 5500.0
    assert drained.act == "drain"


def test_a_sour_bed_is_loosened_and_one_that_smells_has_its_food_taken_out() -> None:
    sour = held(Condition.SOUR, evidence={"moisture_pct": 82.0, "smell": "sour"})
    acts = [one.act for one in advised(sour, window((FED_MS, MELON)), 82.0)]
    assert acts == ["loosen", "hold-feeding", "add-bedding"]
    wet = [one.act for one in advised(sour, window((FED_MS, MELON)), 96.0)]
    assert wet == ["loosen", "hold-feeding"], "the dose stands with the alert for the wet bed"
    blind = advised(held(Condition.SOUR, evidence={"smell": "ammonia"}), window())
    assert [one.act for one in blind] == ["loosen", "hold-feeding"]
    assert blind[0].text.startswith("Air the room first")


@pytest.mark.parametrize(("cause", "act"), [("feed", "spread-feed"), ("room", "cool-room")])
def test_heat_gets_what_its_cause_asks_for(cause: str, act: str) -> None:
    finding = held(Condition.OVERHEATING, cause=cause, feed_at_ms=FED_MS)
    assert advised(finding, window((FED_MS, MELON)))[0].act == act


def test_cold_is_insulated_and_a_probe_fault_gets_no_husbandry() -> None:
    assert advised(held(Condition.TOO_COLD), window())[0].act == "insulate"
    assert advised(held(Condition.PROBE_FAULT, subject="sorrel-1"), window((FED_MS, Moved()))) == ()


def test_a_herd_that_was_moved_is_advised_to_settle() -> None:
    *_, last = advised(held(Condition.TOO_COLD), window((FED_MS, Moved())))
    assert (last.act, last.days) == ("settle", 5.0)
    assert "light on" in last.text


def test_a_bedding_that_the_table_does_not_have_is_taken_as_newspaper() -> None:
    finding = held(Condition.TOO_WET, evidence={"moisture_pct": 87.0})
    advice = advised(finding, window(bin_=replace(SORREL, bedding="moss")), 87.0)[0]
    assert "newspaper" in advice.text
