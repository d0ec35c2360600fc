"""The bed's water by probe and journal: what was poured in, what fell too fast, what is a guess."""

from __future__ import annotations

from dataclasses import replace

import pytest

from judge.series import START_MS, Curve, entry, setup
from rules.said import CLEAR, HOLDS, UNKNOWN, said
from underlid.binmodel.bins import BinKind, Setup
from underlid.journal.entries import Entry, Feed, LiquidAdded, Portion
from underlid.readings.moisture_line import moisture_fit
from underlid.rules.finding import Condition, Finding, Priority
from underlid.timeline import DAY_MS, HOUR_MS


def moist(
    start_pct: float,
    pct_d: float = 0.0,
    from_h: float = 0.0,
    jump_pct: float = 0.0,
    jump_h: float = 0.0,
) -> Curve:
    """Return a bin whose soil probe changes by *pct_d* from *from_h* on, and by a jump in some hours."""
    line = moisture_fit(((0.40, 62.0), (0.62, 78.0)))
    assert line is not None

    def curve(hour: float) -> dict[str, float]:
        pct = start_pct + pct_d * max(0.0, hour - from_h) / 24.0
        pct += jump_pct * min(1.0, max(0.0, hour - jump_h) / 8.0)
        return {"bed_temp_c": 20.0, "soil_raw": 2750.0 - 1600.0 * line.index(pct)}

    return curve


def said_after(
    condition: Condition,
    days: float,
    curve: Curve,
    *entries: Entry,
    place: Setup | None = None,
    every_min: int = 10,
    air: Curve = lambda _: {"shed_temp_c": 20.0, "shed_rh_pct": 50.0},
) -> Finding:
    """Return the finding after so many days of one curve."""
    return said(condition, curve, air, 24 * days, entries, place, every_min)


def unweighed() -> Setup:
    place = setup()
    probes = {
        name: replace(one, soil_points=()) if one.bin else one for name, one in place.probes.items()
    }
    return replace(place, probes=probes)


def tight() -> Setup:
    place = setup()
    bins = {name: replace(one, kind=BinKind.PLASTIC_TOTE) for name, one in place.bins.items()}
    return replace(place, bins=bins)


def test_water_that_was_poured_in_says_more_of_a_swamp_than_a_stretched_line() -> None:
    # computed by hand: of 22 kg at 76 % 5.3 kg are dry; 16 L more make 32.7/38 = 86 %; the probe says 91
    wet = moist(start_pct=76.0, jump_pct=15.0, jump_h=96.0)
    poured = entry(96, LiquidAdded(16_000.0))
    by_both = said_after(Condition.TOO_WET, 6.0, wet, poured, place=tight())
    by_probe = said_after(Condition.TOO_WET, 6.0, wet, place=tight())
    assert by_both.verdict is HOLDS
    assert float(by_both.evidence["moisture_pct"]) == pytest.approx(86.5, abs=1.2)
    assert float(by_probe.evidence["moisture_pct"]) > 89.5
    assert float(by_both.evidence["moisture_sd_pct"]) < 2.0


def test_a_bed_that_falls_faster_than_vapour_can_leave_it_is_a_probe() -> None:
    slow = moist(start_pct=70.0, pct_d=-0.8, from_h=72.0)
    assert said_after(Condition.DRYING_OUT, 7.0, slow).verdict is HOLDS
    fast = moist(start_pct=76.0, pct_d=-6.0, from_h=96.0)
    found = said_after(Condition.DRYING_OUT, 6.5, fast)
    assert found.verdict is UNKNOWN


def test_what_fell_in_hot_dry_days_is_judged_by_their_air_not_by_that_of_today() -> None:
    def dries(hour: float) -> dict[str, float]:
        return {**(moist(start_pct=78.0, pct_d=-1.6)(min(hour, 120.0)) or {}), "bed_temp_c": 12.0}

    def turns(hour: float) -> dict[str, float]:
        hot = hour < 120.0
        return {"shed_temp_c": 34.0 if hot else 12.0, "shed_rh_pct": 25.0 if hot else 88.0}

    def cool(hour: float) -> dict[str, float]:
        return {"shed_temp_c": 12.0, "shed_rh_pct": 88.0}

    assert said_after(Condition.DRYING_OUT, 6.25, dries, air=turns).verdict is not UNKNOWN
    found = said_after(Condition.DRYING_OUT, 6.25, dries, air=cool)
    assert found.verdict is UNKNOWN
    assert "faster than a bed can dry" in found.reason


def test_a_fall_that_ended_days_ago_keeps_no_rule_from_speaking() -> None:
    def fell(hour: float) -> dict[str, float] | None:
        return moist(start_pct=78.0, pct_d=-2.4, from_h=48.0)(min(hour, 72.0))

    def cool(hour: float) -> dict[str, float]:
        return {"shed_temp_c": 12.0, "shed_rh_pct": 88.0}

    found = said_after(Condition.DRYING_OUT, 4.5, fell, air=cool)
    assert "faster than a bed can dry" in found.reason
    assert said_after(Condition.DRYING_OUT, 8.0, fell, air=cool).verdict is not UNKNOWN


def test_a_date_is_said_before_an_alert_is_due() -> None:
    far = said_after(Condition.DRYING_OUT, 6.0, moist(start_pct=72.0, pct_d=-0.4))
    assert far.verdict is CLEAR
    assert far.forecast_for_ms is not None
    days = [float(far.evidence[f"days_until_too_dry{end}"]) for end in ("_soonest", "", "_latest")]
    assert days[0] < 7.0 < days[1] < 12.0 < days[2]
    never = said_after(Condition.DRYING_OUT, 6.0, moist(start_pct=78.0, pct_d=-0.4))
    assert (never.verdict, never.forecast_for_ms) == (CLEAR, None)


def test_a_falling_guess_is_told_when_it_is_more_likely_than_not() -> None:
    def falling(start_pct: float) -> Finding:
        curve = moist(start_pct=start_pct, pct_d=-0.4)
        return said_after(Condition.DRYING_OUT, 6.0, curve, place=unweighed())

    likely, unlikely = falling(64.5), falling(68.5)
    assert (likely.verdict, likely.priority) == (HOLDS, Priority.LOW)
    assert "no weighed sample" in likely.reason
    assert likely.advice[0].text.startswith("Squeeze a handful first")
    assert unlikely.verdict is CLEAR


@pytest.mark.parametrize("every_min", [5, 15, 30])
def test_a_probe_that_sends_seldom_is_heard_too(every_min: int) -> None:
    found = said_after(Condition.TOO_WET, 3.0, moist(start_pct=88.0), every_min=every_min)
    assert found.verdict is HOLDS


def test_air_that_will_run_out_is_foreseen_when_a_wet_feed_goes_in() -> None:
    melon = entry(72, Feed((Portion("melon", 6000.0),)))
    calm = moist(start_pct=78.5)
    assert said_after(Condition.SOUR, 3.5, calm).verdict is CLEAR
    found = said_after(Condition.SOUR, 3.5, calm, melon, place=tight())
    assert (found.verdict, found.priority) == (HOLDS, Priority.LOW)
    assert found.forecast_for_ms is not None
    assert found.forecast_for_ms >= START_MS + round(3.5 * DAY_MS) + 11 * HOUR_MS
    assert float(found.evidence["air_filled_porosity_ahead"]) < 0.33


def test_no_sour_bed_is_foreseen_where_the_wet_limit_is_reached() -> None:
    # An airy bed, 0.10 kg/L, has a third of air even at 85.8 %; so much melon takes it below 0.30
    place = tight()
    bins = {name: replace(one, dry_density_kg_l=0.10) for name, one in place.bins.items()}
    airy = replace(place, bins=bins)
    melon = entry(72, Feed((Portion("melon", 9000.0),)))
    below = said_after(Condition.SOUR, 3.5, moist(start_pct=84.7), melon, place=airy)
    assert below.forecast_for_ms is not None
    wet = moist(start_pct=85.8)
    assert said_after(Condition.TOO_WET, 3.5, wet, melon, place=airy).verdict is HOLDS
    found = said_after(Condition.SOUR, 3.5, wet, melon, place=airy)
    assert found.verdict is CLEAR
    assert "told as too wet" in found.reason
