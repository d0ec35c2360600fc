"""Which advice belongs to which finding."""

from __future__ import annotations

from underlid.advice.bedding import bedding_dose
from underlid.advice.heat import cold_advice, heat_advice
from underlid.advice.lid import air_lid
from underlid.advice.water import water_dose
from underlid.advice.wet import drier_bed
from underlid.binmodel.feeds import feed_with_bedding
from underlid.binmodel.window import BinWindow
from underlid.journal.feedstocks import FEEDSTOCKS
from underlid.journal.units import SI, Units
from underlid.rules.finding import Advice, Condition, Finding
from underlid.timeline import HOUR_MS

WET_TARGET_BELOW_LIMIT_PCT = 2.0
"""A wet bed is brought this far below its limit, so that it does not come straight back."""


def advice_for(finding: Finding, window: BinWindow, units: Units = SI) -> tuple[Advice, ...]:
    """Return what to do about a finding that holds, in the keeper's units."""
    bin_ = window.bin
    bedding = FEEDSTOCKS.get(bin_.bedding, FEEDSTOCKS["newspaper"])
    evidence = finding.evidence
    feed = feed_with_bedding(window, finding.feed_at_ms)
    if finding.condition is Condition.CONDENSATION:
        film_g = float(evidence.get("lid_film_g_m2", 0.0)) * bin_.lid_area_m2
        what = feed[1] if feed else None
        dose = bedding_dose(what, film_g, bin_.target_moisture_pct, bedding, units)
        return (*dose, *air_lid())
    if finding.condition is Condition.OVERHEATING:
        own = evidence.get("self_heat_k")
        age_h = (window.now_ms - feed[0].at_ms) / HOUR_MS if feed else None
        return heat_advice(finding.cause, None if own is None else float(own), age_h, units)
    if finding.condition is Condition.DRYING_OUT:
        level = float(evidence["moisture_pct"])
        return water_dose(bin_.bed_kg, level, bin_.target_moisture_pct, units)
    if finding.condition is Condition.TOO_WET:
        target = window.limits.moisture_high_warn_pct - WET_TARGET_BELOW_LIMIT_PCT
        return drier_bed(bin_.bed_kg, float(evidence["moisture_pct"]), target, bedding, units)
    if finding.condition is Condition.TOO_COLD:
        return cold_advice(units)
    return ()
