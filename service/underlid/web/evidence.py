"""What a finding rests on, as a line a keeper can read: each value with its word and its range.

A rule names its evidence for programs (`lid_film_low_g_m2`); here the range of a value joins it and
limits and chances get plain words. Labels of channels are in `wording.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from underlid.alerts.ahead import OPEN_END_D
from underlid.journal.units import SI, Units, mass_text, number_text
from underlid.timeline import DAY_MS, HOUR_MS, SECOND_MS, parse_time_ms
from underlid.web.wording import FILM, channel_label, channel_value, clock_text, span

WORDS: Final = {
    "lid_film_band": "that is",
    "condensing_g_m2_h": "condensing now",
    "condensing_day_mean_g_m2_h": "over the last day",
    "bed_over_headspace_k": "bed above headspace by",
    "headspace_rh_sensor": "humidity sensor",
    "limit_c": "limit",
    "limit_pct": "limit",
    "limit_v": "limit",
    "limit_g_m2": "limit",
    "chance_pct": "chance",
    "peak_temp_c": "peak",
    "peak_in_h": "peak in",
    "coldest_temp_c": "coldest",
    "coldest_in_h": "coldest in",
    "without_self_heat_c": "bed without its own heat",
    "bed_rate_k_h": "bed warms by",
    "moisture_trend_pct_d": "moisture changes by",
    "days_until_too_dry": "too dry in",
    "air_filled_porosity": "air in the bed",
    "air_filled_porosity_limit": "should be at least",
    "dry_density_kg_l": "dry density",
    "fed_g": "last feed",
    "fed_days_ago": "fed",
    "uneaten_g": "left to eat",
    "eaten_g_d": "eaten a day",
    "used_up_at": "all gone about",
    "age_s": "last reading",
    "clock_off_s": "its clock is off by",
    "channel": "sensor",
}
RANGES: Final = {
    "lid_film_g_m2": ("lid_film_low_g_m2", "lid_film_high_g_m2"),
    "peak_temp_c": ("peak_low_c", "peak_high_c"),
    "coldest_temp_c": ("coldest_low_c", "coldest_high_c"),
    "days_until_too_dry": ("days_until_too_dry_soonest", "days_until_too_dry_latest"),
    "used_up_at": ("used_up_soonest_at", "used_up_latest_at"),
}
"""Value -> the names of its lowest and its highest."""

GIVE_OR_TAKE: Final = {
    "lid_margin_k": "lid_margin_sd_k",
    "moisture_pct": "moisture_sd_pct",
    "air_filled_porosity": "air_filled_porosity_sd",
}
AT_MOST: Final = {"uneaten_g": "uneaten_most_g"}
DATES: Final = ("used_up_at", "used_up_soonest_at", "used_up_latest_at")
TIMES: Final = ("since", "until", *DATES)


def evidence_text(evidence: object, units: Units = SI, timezone: str = "UTC") -> str:
    """Return what a finding rests on, as one line.

    >>> evidence_text({"lid_film_g_m2": 19.2, "lid_film_low_g_m2": 12, "lid_film_high_g_m2": 23})
    'lid film 19 g/m² (12 g/m² to 23 g/m²)'
    >>> evidence_text({"moisture_pct": 67.0, "moisture_sd_pct": 2.5, "limit_pct": 65.0})
    'bed moisture 67 % (± 2.5 %), limit 65 %'
    >>> evidence_text({"eaten_g_d": 260, "since": "2026-06-21T00:00:00Z"}, SI, "Europe/London")
    'eaten a day 260 g, since Sun 21 Jun, 01:00'
    >>> evidence_text({"fed_days_ago": 0.4, "used_up_at": "2026-06-24T21:00:00Z"})
    'fed 10 h ago, all gone about Wed 24 Jun'
    >>> days = {"days_until_too_dry": 9, "days_until_too_dry_soonest": 4, "days_until_too_dry_latest": 99}
    >>> evidence_text(days)
    'too dry in 9 days (4 days or more)'
    >>> evidence_text({"air_filled_porosity": -0.01, "peak_in_h": 9.3})
    'air in the bed 0 %, peak in 9 h'
    """
    if not isinstance(evidence, Mapping):
        return ""
    joined = {name for pair in RANGES.values() for name in pair}
    joined |= {*GIVE_OR_TAKE.values(), *AT_MOST.values()}
    return ", ".join(
        _piece(str(name), evidence, units, timezone) for name in evidence if name not in joined
    )


def _piece(name: str, evidence: Mapping[str, Any], units: Units, timezone: str) -> str:
    word = WORDS.get(name) or channel_label(name).lower()
    if name == "chance_pct" and "fed_g" in evidence:
        word = "used up by now with a chance of"
    return f"{word} {_value(name, evidence[name], units, timezone)}{_doubt(name, evidence, units)}"


def _doubt(name: str, evidence: Mapping[str, Any], units: Units) -> str:
    """Return how far the value may be off, in brackets, "" when nobody says."""
    low, high = RANGES.get(name, ("", ""))
    if low in evidence and high in evidence:
        ends = [_value(end, evidence[end], units, "UTC") for end in (low, high)]
        if high.startswith("days_") and float(evidence[high]) >= OPEN_END_D:
            return f" ({ends[0]} or more)"
        return f" ({ends[0]} to {ends[1]})"
    if (spread := GIVE_OR_TAKE.get(name, "")) in evidence:
        return f" (± {_value(spread, evidence[spread], units, 'UTC')})"
    if (most := AT_MOST.get(name, "")) in evidence:
        return f" (at most {_value(most, evidence[most], units, 'UTC')})"
    return ""


def _value(name: str, value: object, units: Units, timezone: str) -> str:
    if isinstance(value, str):
        if name in TIMES:
            text = clock_text(parse_time_ms(value), timezone)
            return text if name not in DATES else text.partition(",")[0]
        if name == "channel":
            return channel_label(value).lower()
        return FILM.get(value, value) if name == "lid_film_band" else value
    if not isinstance(value, int | float):
        return channel_value(value, name, units)
    if name.startswith("air_filled_porosity"):
        return f"{max(0.0, 100 * value):.0f} %"
    if name == "fed_days_ago":
        return f"{span(float(value) * DAY_MS)} ago"
    if name in ("peak_in_h", "coldest_in_h"):
        return span(float(value) * HOUR_MS)
    if name == "moisture_sd_pct":
        return f"{number_text(float(value), 1)} %"
    if name.startswith("days_"):
        return f"{value:g} days"
    if name.endswith(("_g", "_g_d")):
        return mass_text(float(value), units)
    if name.endswith("_s"):
        length = span(float(value) * SECOND_MS)
        return f"{length} ago" if name == "age_s" else length
    return channel_value(value, name, units)
