"""What is said of a thing that is foreseen: when, how sure, and what it will come to."""

from __future__ import annotations

from datetime import tzinfo
from typing import Final

from underlid.alerts.when import day_words, hour_words
from underlid.journal.units import Units, about_mass_text, about_temp_text, number_text, temp_text
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
        most = (
            f", near {_extreme_texts(finding, 'peak', units)[0]} at the most ahead" if rises else ""
        )
        return f"{name}'s bed {will} get too warm after all{now}{most}. Nothing to do."
    if finding.condition is Condition.TOO_COLD:
        least = ""
        if "coldest_temp_c" in finding.evidence:
            least = f", near {_extreme_texts(finding, 'coldest', units)[0]} at the least ahead"
        return f"{name}'s bed {will} get too cold after all{now}{least}. Nothing to do."
    if finding.condition is Condition.DRYING_OUT:
        return f"{name}'s bed {will} be too dry soon after all{now}. Nothing to do."
    if finding.condition is Condition.SOUR:
        return f"{name}'s bed will probably not turn sour after all{now}. Nothing to do."
    return f"What was foreseen of {name} {will} come after all{now}. Nothing to do."


def peak_clause(finding: Finding, now_ms: int, units: Units, zone: tzinfo) -> str:
    """Return where a bed that is too warm or too cold already goes to, if it is known."""
    evidence = finding.evidence
    if "coldest_temp_c" in evidence:
        coldest, _ = _extreme_texts(finding, "coldest", units)
        at_ms = now_ms + round(float(evidence["coldest_in_h"]) * HOUR_MS)
        return f"; it will fall to about {coldest} by {hour_words(at_ms, now_ms, zone)}"
    if "peak_temp_c" not in evidence:
        return ""
    peak, _ = _extreme_texts(finding, "peak", units)
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
    bed, limit = (temp_text(float(evidence[key]), units) for key in ("bed_temp_c", "limit_c"))
    peak, band = _extreme_texts(finding, "peak", units)
    hour = hour_words(now_ms + round(float(evidence["peak_in_h"]) * HOUR_MS), now_ms, zone)
    chance = f"{heat_from(finding)}: {evidence['chance_pct']:.0f} % sure to pass {limit}"
    if finding.reason:
        return (
            f"{name}'s bed is at {bed} for now: up to about {peak}{band} by {hour}, {chance} again"
        )
    return f"{name}'s bed is at {bed} and will peak near {peak}{band} about {hour}, {chance}"


def _too_cold(finding: Finding, name: str, now_ms: int, units: Units, zone: tzinfo) -> str:
    evidence = finding.evidence
    bed, limit = (temp_text(float(evidence[key]), units) for key in ("bed_temp_c", "limit_c"))
    coldest, band = _extreme_texts(finding, "coldest", units)
    hour = hour_words(now_ms + round(float(evidence["coldest_in_h"]) * HOUR_MS), now_ms, zone)
    chance = f"{evidence['chance_pct']:.0f} % sure to go below {limit}"
    if finding.reason:
        return f"{name}'s bed is at {bed} for now: down to about {coldest}{band} by {hour}, {chance} again"
    return f"{name}'s bed is at {bed} and will fall to about {coldest}{band} by {hour}: {chance}"


def _extreme_texts(finding: Finding, which: str, units: Units) -> tuple[str, str]:
    """Return a foreseen peak, or the coldest, and its band in brackets, as fine as the band allows."""
    evidence = finding.evidence
    most_c = float(evidence.get(f"{which}_temp_c", 0.0))
    ends = f"{which}_low_c", f"{which}_high_c"
    if not set(ends) <= evidence.keys():
        return temp_text(most_c, units), ""
    low_c, high_c = (float(evidence[end]) for end in ends)
    most, low, high = (
        about_temp_text(one_c, (high_c - low_c) / 2, units) for one_c in (most_c, low_c, high_c)
    )
    return most, f" ({low.rpartition(' ')[0]} to {high})"


def _drying_out(finding: Finding, name: str, now_ms: int, units: Units, zone: tzinfo) -> str:  # noqa: ARG001
    evidence = finding.evidence
    trend = evidence.get("moisture_trend_pct_d")
    falls = f" and falls by {abs(float(trend)):.1f} points a day" if trend is not None else ""
    day = day_words(finding.forecast_for_ms or now_ms, now_ms, zone)
    level, limit = (number_text(float(evidence[key]), 0) for key in ("moisture_pct", "limit_pct"))
    return (
        f"{name}'s bed is at {level} % moisture{falls}: it will be too dry (below {limit} %)"
        f" {day}{_days_until(finding)}"
    )


def _days_until(finding: Finding) -> str:
    """Return in how many days a bed is too dry, and the band; a day or less the date says alone."""
    usual, soonest, latest = (
        round(float(finding.evidence[f"days_until_too_dry{end}"]))
        for end in ("", "_soonest", "_latest")
    )
    if usual <= 1:
        return f" (within {latest} days)" if 1 < latest < OPEN_END_D else ""
    band = f" ({soonest} to {latest})" if soonest != latest else ""
    return f", in about {usual} days{f' ({soonest} or more)' if latest >= OPEN_END_D else band}"


def _hungry(finding: Finding, name: str, now_ms: int, units: Units, zone: tzinfo) -> str:
    eats = about_mass_text(float(finding.evidence["eaten_g_d"]), units)
    day = day_words(finding.forecast_for_ms or now_ms, now_ms, zone)
    return f"{name}'s last feed will probably be used up {day}: its herd eats about {eats} a day"


def _sour(finding: Finding, name: str, now_ms: int, units: Units, zone: tzinfo) -> str:  # noqa: ARG001
    evidence = finding.evidence
    day = day_words(finding.forecast_for_ms or now_ms, now_ms, zone)
    now, then = (
        max(0, round(100 * float(evidence[key])))
        for key in ("air_filled_porosity", "air_filled_porosity_ahead")
    )
    return (
        f"{name}'s bed may turn sour {day}: {now} % of it is air now, and about {then} % when the"
        f" food has given off its water ({evidence['chance_pct']:.0f} % sure)"
    )


_SAYINGS = {
    Condition.SOUR: _sour,
    Condition.HUNGRY: _hungry,
    Condition.CONDENSATION: _condensation,
    Condition.OVERHEATING: _overheating,
    Condition.TOO_COLD: _too_cold,
    Condition.DRYING_OUT: _drying_out,
}
