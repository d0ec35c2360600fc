"""What is said of a thing that is foreseen: when, how sure, and what it will come to."""

from __future__ import annotations

from datetime import tzinfo
from typing import Final

from underlid.alerts.when import day_words, hour_words
from underlid.journal.units import Units, about_mass_text, temp_text
from underlid.rules.finding import Condition, Finding
from underlid.timeline import HOUR_MS

SURELY_NOT_PCT: Final = 10.0
"""A greater chance than this is left open: the thing will "probably" not come (our judgement)."""

OPEN_END_D: Final = 30.0
"""A later end of a date's band is not said: by then it is anything (our judgement)."""

RISES_K: Final = 0.3
"""A bed that rises by less is not said to rise (our judgement)."""


def ahead_clause(finding: Finding, name: str, now_ms: int, units: Units, zone: tzinfo) -> str:
    """Return the sentence's first half for a finding that foresees."""
    return _SAYINGS[finding.condition](finding, name, now_ms, units, zone)


def not_come_sentence(finding: Finding, name: str, values: str, units: Units) -> str:
    """Return the all-clear for what was foreseen and will not come; *values* are the present ones."""
    chance_pct = float(finding.evidence.get("chance_pct", 0.0))
    will = "will not" if chance_pct <= SURELY_NOT_PCT else "will probably not"
    now = f": {values} now" if values else ""
    if finding.condition is Condition.CONDENSATION:
        limit = finding.evidence.get("limit_g_m2")
        chance = f", {chance_pct:.0f} % to pass {limit:.0f} g/m²" if chance_pct and limit else ""
        return f"{name}'s lid {will} run with water after all{now}{chance}. Nothing to do."
    if finding.condition is Condition.OVERHEATING:
        bed, peak = (float(finding.evidence.get(key, 0.0)) for key in ("bed_temp_c", "peak_temp_c"))
        rises = peak >= bed + RISES_K
        most = f", near {temp_text(peak, units)} at the most ahead" if rises else ""
        return f"{name}'s bed {will} get too warm after all{now}{most}. Nothing to do."
    if finding.condition is Condition.DRYING_OUT:
        return f"{name}'s bed {will} be too dry soon after all{now}. Nothing to do."
    if finding.condition is Condition.SOUR:
        return f"{name}'s bed will probably not turn sour after all{now}. Nothing to do."
    return f"What was foreseen of {name} {will} come after all{now}. Nothing to do."


def peak_clause(finding: Finding, now_ms: int, units: Units, zone: tzinfo) -> str:
    """Return where a bed that is too warm already goes to, if it is known."""
    evidence = finding.evidence
    if "peak_temp_c" not in evidence:
        return ""
    peak = temp_text(float(evidence["peak_temp_c"]), units)
    at_ms = now_ms + round(float(evidence["peak_in_h"]) * HOUR_MS)
    return f"; it will peak near {peak} about {hour_words(at_ms, now_ms, zone)}"


def _condensation(finding: Finding, name: str, now_ms: int, units: Units, zone: tzinfo) -> str:  # noqa: ARG001
    evidence = finding.evidence
    hour = hour_words(finding.forecast_for_ms or now_ms, now_ms, zone)
    film_g_m2 = round(float(evidence["lid_film_g_m2"]))
    now = f"now about {film_g_m2} g/m²" if film_g_m2 >= 1 else "dry now"
    return (
        f"{name}'s lid will be running with water by about {hour} ({evidence['chance_pct']:.0f} %"
        f" sure): {now}, by then {evidence['limit_g_m2']:.0f} g/m² or more"
    )


def heat_from(finding: Finding) -> str:
    """Return where a bed's heat comes from; a feed is named only if one was written down."""
    if finding.cause != "feed":
        return "from the room"
    return "from its own warmth" if finding.feed_at_ms is None else "from its own feed"


def _overheating(finding: Finding, name: str, now_ms: int, units: Units, zone: tzinfo) -> str:
    evidence = finding.evidence
    bed, peak, low, high, limit = (
        temp_text(float(evidence[key]), units)
        for key in ("bed_temp_c", "peak_temp_c", "peak_low_c", "peak_high_c", "limit_c")
    )
    at_ms = now_ms + round(float(evidence["peak_in_h"]) * HOUR_MS)
    return (
        f"{name}'s bed is at {bed} and will peak near {peak} ({low} to {high}) about"
        f" {hour_words(at_ms, now_ms, zone)}, {heat_from(finding)}:"
        f" {evidence['chance_pct']:.0f} % to pass {limit}"
    )


def _drying_out(finding: Finding, name: str, now_ms: int, units: Units, zone: tzinfo) -> str:  # noqa: ARG001
    evidence = finding.evidence
    trend = evidence.get("moisture_trend_pct_d")
    falls = f" and falls {abs(float(trend)):.1f} points a day" if trend is not None else ""
    day = day_words(finding.forecast_for_ms or now_ms, now_ms, zone)
    latest_d = float(evidence["days_until_too_dry_latest"])
    latest = f"to {latest_d}" if latest_d < OPEN_END_D else "or more"
    return (
        f"{name}'s bed is at {evidence['moisture_pct']} % moisture{falls}: it will be too dry (below"
        f" {evidence['limit_pct']} %) about {day}, in {evidence['days_until_too_dry']} days"
        f" ({evidence['days_until_too_dry_soonest']} {latest})"
    )


def _hungry(finding: Finding, name: str, now_ms: int, units: Units, zone: tzinfo) -> str:
    eats = about_mass_text(float(finding.evidence["eaten_g_d"]), units)
    day = day_words(finding.forecast_for_ms or now_ms, now_ms, zone)
    return (
        f"{name} will have nothing left of its last feed by about {day}: its herd eats about {eats} a"
        " day"
    )


def _sour(finding: Finding, name: str, now_ms: int, units: Units, zone: tzinfo) -> str:  # noqa: ARG001
    evidence = finding.evidence
    day = day_words(finding.forecast_for_ms or now_ms, now_ms, zone)
    now, then = (
        max(0, round(100 * float(evidence[key])))
        for key in ("air_filled_porosity", "air_filled_porosity_ahead")
    )
    return (
        f"{name}'s bed may turn sour: {now} % of it is air now, and about {then} % when the food has"
        f" given off its water, about {day} ({evidence['chance_pct']:.0f} % sure)"
    )


_SAYINGS = {
    Condition.SOUR: _sour,
    Condition.HUNGRY: _hungry,
    Condition.CONDENSATION: _condensation,
    Condition.OVERHEATING: _overheating,
    Condition.DRYING_OUT: _drying_out,
}
