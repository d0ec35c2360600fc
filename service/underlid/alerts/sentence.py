"""The one sentence a keeper gets: what was measured, why it matters, what to do and how much."""

from __future__ import annotations

from typing import Final

from underlid.alerts.ahead import ahead_clause, heat_from, not_come_sentence, peak_clause
from underlid.alerts.alert import Said
from underlid.alerts.probe_clause import probe_clause
from underlid.binmodel.facts import zone_named
from underlid.journal.summary import portions_line
from underlid.journal.units import (
    SI,
    Units,
    about_mass_text,
    number_text,
    temp_step_text,
    temp_text,
)
from underlid.rules.finding import Condition, Finding
from underlid.timeline import HOUR_MS

SURE_FROM = 0.7
LIKELY_FROM = 0.5
PROBABLE = "This is probable, not certain."
POSSIBLE = "This is possible, not certain: look before you act."
"""What is said of a finding below these certainties (our judgement)."""

ALL_BUT_SURE_PCT = 90.0
"""From here on no chance is told (our judgement)."""

EVEN_PCT = 50.0

FED_AGAIN_DAYS = 2.0
"""A feed so fresh, though written down late, is what ended the hunger (our judgement)."""

SELF_HEAT_TOLD_K = 0.5
"""Less of it is within the error of the sensors and is not worth a word (our judgement)."""


def sentence(finding: Finding, said: Said, units: Units = SI) -> str:
    """Return the sentence for a finding that holds, in the keeper's units and the shed's time."""
    now_ms, zone = said.at_ms, zone_named(said.timezone)
    if finding.forecast_for_ms is not None:
        measured = ahead_clause(finding, said.name, now_ms, units, zone)
    else:
        measured = _SAYINGS[finding.condition](finding, said.name, units)
        measured += peak_clause(finding, now_ms, units, zone)
    story = _feed_clause(finding, said, units) if finding.feed_at_ms is not None else ""
    todo = " ".join(one.text for one in finding.advice)
    hedge = "" if finding.certainty >= SURE_FROM else PROBABLE
    if finding.certainty < LIKELY_FROM:
        hedge = POSSIBLE
    return " ".join(part for part in (f"{measured}{story}.", todo, hedge) if part)


def returned_sentence(
    finding: Finding, name: str, units: Units = SI, *, foreseen: bool = False
) -> str:
    """Return the sentence for an alert that has returned to normal; *foreseen* if it foresaw last."""
    if finding.condition is Condition.PROBE_FAULT:
        return f"Probe {finding.subject} of {name} is well again."
    if finding.condition is Condition.HUNGRY:
        return _fed_again(finding, name)
    values = _values(finding, units)
    if foreseen:
        return not_come_sentence(finding, name, values, units)
    return f"{name} is back to normal{f' ({values})' if values else ''}. Nothing to do."


def _fed_again(finding: Finding, name: str) -> str:
    """Return why a herd is not called hungry any more: it need not have been fed."""
    if finding.reason:
        return f"{name} is not called hungry for now: {finding.reason}. Nothing to do."
    if float(finding.evidence.get("fed_days_ago", 0.0)) <= FED_AGAIN_DAYS:
        return f"{name} has been fed. Nothing to do."
    return f"{name} probably has food left. Nothing to do."


def _feed_clause(finding: Finding, said: Said, units: Units) -> str:
    """Return what the thing follows; hunger follows no feed, it only comes after the last one."""
    if not said.fed:
        return ""
    hours = (said.at_ms - said.fed_at_ms) / HOUR_MS
    age = f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"
    foods = portions_line(said.fed, units)
    if finding.condition is Condition.HUNGRY:
        return f". The last feed was {foods}, {age} ago"
    return f", {age} after {foods} went in"


def _beyond(value: str, limit: str, way: str, whose: str = "", *, beyond: bool) -> str:
    """Return how a shown value lies to a shown limit: an alert stays while it is still near it.

    >>> _beyond("25.2 °C", "25.0 °C", "above", "the herd's ", beyond=True)
    "25.2 °C, above the herd's 25.0 °C"
    >>> _beyond("24.9 °C", "25.0 °C", "above", "the herd's ", beyond=False)
    "24.9 °C, near the herd's limit of 25.0 °C"
    """
    if beyond and not value.startswith(limit):
        return f"{value}, {way} {whose}{limit}"
    return f"{value}, {'' if beyond else 'near '}{whose or 'the '}limit of {limit}"


HOW_FILM: Final = {"lid_probe": "measured lid", "humidity": "a guess without a shed air probe"}


def _condensation(finding: Finding, name: str, units: Units) -> str:  # noqa: ARG001
    evidence = finding.evidence
    how = HOW_FILM.get(finding.grade, "estimated")
    below = _number(finding, "lid_film_g_m2") < float(evidence.get("limit_g_m2", 0.0))
    does = "may run with drops" if below else "runs with drops"
    if evidence["lid_film_band"] == "drips":
        does = "drips on the bed"
    return (
        f"{name}'s lid {does}: about {_number(finding, 'lid_film_g_m2'):.0f} g/m² of water"
        f" ({how}), {_change(float(evidence.get('condensing_g_m2_h', 0.0)))}"
    )


def _change(g_m2_h: float) -> str:
    """Return how fast the film grows or shrinks.

    >>> _change(6.2), _change(-4.4), _change(-0.3)
    ('+6 g/m² an hour', '−4 g/m² an hour', 'hardly changing')
    """
    shown = number_text(g_m2_h, 0)
    return "hardly changing" if shown == "0" else f"{'+' * (g_m2_h > 0.0)}{shown} g/m² an hour"


def _overheating(finding: Finding, name: str, units: Units) -> str:
    bed, limit = (_temp(finding, key, units) for key in ("bed_temp_c", "limit_c"))
    own = ""
    if float(finding.evidence.get("self_heat_k", 0.0)) >= SELF_HEAT_TOLD_K:
        own = f" ({_step(finding, 'self_heat_k', units)} of it self-heat)"
    over = _number(finding, "bed_temp_c") >= _number(finding, "limit_c")
    at = _beyond(bed, limit, "above", "the herd's ", beyond=over)
    return f"{name}'s bed is at {at}, {heat_from(finding)}{own}"


def _drying_out(finding: Finding, name: str, units: Units) -> str:  # noqa: ARG001
    evidence = finding.evidence
    level, limit = (_whole(finding, key) for key in ("moisture_pct", "limit_pct"))
    trend = evidence.get("moisture_trend_pct_d")
    falling = f", {abs(float(trend)):.1f} points a day" if trend is not None else ""
    if finding.reason:
        return (
            f"{name}'s bed dries{falling.replace(',', ' by', 1)} and is at about {level} %"
            f" moisture, a guess (± {_whole(finding, 'moisture_sd_pct')}) until a sample is weighed"
        )
    under = _number(finding, "moisture_pct") <= _number(finding, "limit_pct")
    said = _beyond(f"{level} % moisture", f"{limit} %", "below", beyond=under)
    return f"{name}'s bed is {_too(under)} dry: {said}"


def _too(beyond: bool) -> str:
    return "too" if beyond else "almost too"


def _too_wet(finding: Finding, name: str, units: Units) -> str:  # noqa: ARG001
    evidence = finding.evidence
    share = 100 * float(evidence["air_filled_porosity"])
    air = f"about {share:.0f} % of it is air" if share >= 2 else "hardly any air is left in it"
    level, limit = (_whole(finding, key) for key in ("moisture_pct", "limit_pct"))
    over = _number(finding, "moisture_pct") >= _number(finding, "limit_pct")
    said = _beyond(f"{level} % moisture", f"{limit} %", "above", beyond=over)
    return f"{name}'s bed is {_too(over)} wet: {said}, {air}"


def _sour(finding: Finding, name: str, units: Units) -> str:  # noqa: ARG001
    evidence = finding.evidence
    smell = "of ammonia" if evidence.get("smell") == "ammonia" else "sour"
    smells = f"{name} smells {smell}" if finding.cause == "smell" else ""
    if "air_filled_porosity" not in evidence:
        return smells
    share = max(0, round(100 * float(evidence["air_filled_porosity"])))
    limit = round(100 * float(evidence["air_filled_porosity_limit"]))
    air = f"only {share} %" if share >= 2 else "hardly any"
    if smells and share >= limit:
        return (
            f"{smells}; at {_whole(finding, 'moisture_pct')} % moisture {share} % of the bed is air"
        )
    may = f"{smells}, and" if smells else f"{name}'s bed may turn sour: at"
    level = _whole(finding, "moisture_pct")
    at = f" at {level}" if smells else f" {level}"
    below = f"below {limit} %" if share < limit else f"near the limit of {limit} %"
    sure = "" if smells else f" ({_number(finding, 'chance_pct'):.0f} % sure)"
    return f"{may}{at} % moisture {air} of it is air, {below}{sure}"


def _hungry(finding: Finding, name: str, units: Units) -> str:
    evidence = finding.evidence
    eats = f"its herd eats about {about_mass_text(_number(finding, 'eaten_g_d'), units)} a day"
    if finding.reason == "seen used up":
        gone = f"{name}'s last feed was seen used up"
    else:
        gone = f"{name}'s last feed {_gone_by_now(_number(finding, 'chance_pct'))}: {eats}"
    climbers = evidence.get("climbers", "none")
    return gone + (f", and {climbers} worms were on the wall" if climbers != "none" else "")


def _gone_by_now(chance_pct: float) -> str:
    """Return how sure food is used up.

    >>> _gone_by_now(62.0)
    'is probably used up by now (62 % sure)'
    >>> _gone_by_now(48.0)
    'may be used up by now (48 % sure)'
    """
    if chance_pct >= ALL_BUT_SURE_PCT:
        return "is used up by now"
    gone = "is probably" if chance_pct >= EVEN_PCT else "may be"
    return f"{gone} used up by now ({chance_pct:.0f} % sure)"


def _too_cold(finding: Finding, name: str, units: Units) -> str:
    bed, limit = (_temp(finding, key, units) for key in ("bed_temp_c", "limit_c"))
    under = _number(finding, "bed_temp_c") <= _number(finding, "limit_c")
    said = _beyond(bed, limit, "below", "the herd's ", beyond=under)
    return f"{name}'s bed is at {said}"


def _probe_fault(finding: Finding, name: str, units: Units) -> str:  # noqa: ARG001
    return probe_clause(finding, name)


_SAYINGS = {
    Condition.CONDENSATION: _condensation,
    Condition.OVERHEATING: _overheating,
    Condition.DRYING_OUT: _drying_out,
    Condition.TOO_WET: _too_wet,
    Condition.TOO_COLD: _too_cold,
    Condition.SOUR: _sour,
    Condition.HUNGRY: _hungry,
    Condition.PROBE_FAULT: _probe_fault,
}


def _values(finding: Finding, units: Units) -> str:
    """Return the measured value of a finding in a few words."""
    evidence = finding.evidence
    if "bed_temp_c" in evidence:
        return f"bed {_temp(finding, 'bed_temp_c', units)}"
    if "lid_film_g_m2" in evidence:
        return f"lid film {_number(finding, 'lid_film_g_m2'):.0f} g/m²"
    if "moisture_pct" in evidence:
        return f"moisture {_whole(finding, 'moisture_pct')} %"
    return ""


def _number(finding: Finding, key: str) -> float:
    return float(finding.evidence[key])


def _whole(finding: Finding, key: str) -> str:
    """Return a value without decimals: no soil probe knows the moisture to a tenth of a point."""
    return number_text(_number(finding, key), 0)


def _temp(finding: Finding, key: str, units: Units) -> str:
    return temp_text(_number(finding, key), units)


def _step(finding: Finding, key: str, units: Units) -> str:
    return temp_step_text(_number(finding, key), units)
