"""How numbers, times and states are worded on a page. Values only; no request, no store.

The sentences of alerts are made where alerts are made (`alerts.sentence`); here are only labels.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, tzinfo
from functools import lru_cache
from typing import Any, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from underlid.journal.summary import summary
from underlid.journal.units import (
    SI,
    Units,
    about_mass_text,
    mass_text,
    number_text,
    temp_step_text,
    temp_text,
    volume_text,
)
from underlid.readings.channels import CHANNELS
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, parse_time_ms, rfc3339

CONDITIONS: Final = {
    "condensation": "Condensation",
    "overheating": "Heat",
    "drying_out": "Dryness",
    "too_wet": "Wetness",
    "too_cold": "Cold",
    "hungry": "Hunger",
    "sour": "Sourness",
    "probe_fault": "Probe",
}
PRIORITIES: Final = {
    "low": "when you next come by",
    "medium": "today or tomorrow",
    "high": "today",
    "critical": "now",
}
FILM: Final = {
    "dry": "lid dry",
    "mist": "mist on the lid",
    "drops": "drops on the lid",
    "runs": "water runs down the lid",
    "drips": "the lid drips",
}
BIN_KINDS: Final = {
    "flow-through-bag": "Flow-through bag",
    "tray-stack": "Stack of trays",
    "wooden-box": "Wooden box",
    "plastic-tote": "Plastic tote",
    "trough": "Trough",
}
ENTRY_KINDS: Final = {
    "feed": "Feed",
    "bedding": "Bedding",
    "water": "Water or leachate",
    "amendment": "Amendment",
    "worms": "Worms in or out",
    "harvest": "Harvest",
    "sighting": "What you saw",
    "turned": "Bed turned",
    "move": "Moved or set up",
    "photo": "Photo",
    "note": "Note",
}
COMPUTED: Final = {
    "dew_point_c": ("Dew point", "°C"),
    "lid_margin_k": ("Lid margin", "°C"),
    "lid_film_g_m2": ("Lid film", "g/m²"),
    "self_heat_k": ("Self-heat", "°C"),
}
UNIT_ENDINGS: Final = {
    "_g_m2_h": "g/m² an hour",
    "_g_m2": "g/m²",
    "_k_h": "°C/h",
    "_kg_l": "kg/L",
    "_pct_d": "points a day",
    "_c": "°C",
    "_k": "°C",
    "_pct": "%",
    "_kg": "kg",
    "_ml": "mL",
    "_g": "g",
    "_h": "h",
    "_s": "s",
    "_days": "days",
    "_v": "V",
}
"""Ending of a name -> its unit, longest first."""

NOTHING: Final = "–"
NONE_LEFT: Final = "hardly anything of the last is left to eat"


def channel_label(channel: str) -> str:
    """Return what a channel is called on a page.

    >>> channel_label("bed_temp_c"), channel_label("lid_film_g_m2"), channel_label("door_open")
    ('Bed', 'Lid film', 'door open')
    """
    if channel in COMPUTED:
        return COMPUTED[channel][0]
    known = CHANNELS.get(channel)
    return known.label if known else _split(channel)[0]


def channel_value(value: object, channel: str, units: Units = SI) -> str:
    """Return a channel's value with its unit, "–" when there is none.

    >>> channel_value(21.44, "bed_temp_c"), channel_value(None, "moisture_pct")
    ('21.4 °C', '–')
    >>> channel_value(74.6, "moisture_pct"), channel_value(1.25, "lid_margin_k")
    ('75 %', '1.2 °C')
    >>> from underlid.journal.units import US
    >>> channel_value(2, "bed_rate_k_h"), channel_value(2, "bed_rate_k_h", US)
    ('2.0 °C/h', '3.6 °F/h')
    """
    if not isinstance(value, int | float):
        return NOTHING
    if channel.endswith("_c"):
        return temp_text(float(value), units)
    if channel.endswith("_k"):
        return temp_step_text(float(value), units)
    if channel.endswith("_k_h"):
        return f"{temp_step_text(float(value), units)}/h"
    if channel.endswith("_kg"):
        return mass_text(float(value) * 1000, units)
    if channel.endswith("_pct"):
        return f"{number_text(float(value), 0)} %"
    unit = CHANNELS[channel].unit if channel in CHANNELS else _split(channel)[1]
    decimals = 2 if abs(value) < 10 else 0
    return f"{number_text(float(value), decimals)} {unit}".strip()


def channel_unit(channel: str, units: Units = SI) -> str:
    """Return the unit that a channel's values are shown in.

    >>> from underlid.journal.units import US
    >>> channel_unit("bed_temp_c"), channel_unit("bed_temp_c", US), channel_unit("lid_film_g_m2")
    ('°C', '°F', 'g/m²')
    """
    return channel_value(1.0, channel, units).partition(" ")[2]


def bare_value(value: object, channel: str, units: Units = SI) -> str:
    """Return a channel's value without its unit, for a column that has it in its head.

    >>> bare_value(21.44, "bed_temp_c"), bare_value(None, "moisture_pct"), bare_value(0.18, "lid_film_g_m2")
    ('21.4', '–', '0')
    """
    if channel == "lid_film_g_m2" and isinstance(value, int | float):
        return number_text(float(value), 0)
    return channel_value(value, channel, units).partition(" ")[0]


def _split(name: str) -> tuple[str, str]:
    """Return a name's words and its unit.

    >>> _split("water_g_m2"), _split("rise_k_h"), _split("door_open")
    (('water', 'g/m²'), ('rise', '°C/h'), ('door open', ''))
    """
    for ending, unit in UNIT_ENDINGS.items():
        if name.endswith(ending):
            return name.removesuffix(ending).replace("_", " "), unit
    if name.startswith("days_"):
        return name.removeprefix("days_").replace("_", " "), "days"
    return name.replace("_", " "), ""


@lru_cache(64)
def zone(name: str) -> tzinfo:
    """Return the time zone called *name*; UTC when nobody knows it."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return UTC


def local(at_ms: int, timezone: str) -> datetime:
    """Return *at_ms* as the shed's wall clock shows it."""
    return datetime.fromtimestamp(at_ms / SECOND_MS, zone(timezone))


def clock_text(at_ms: int, timezone: str = "UTC") -> str:
    """Return day and time on the shed's wall clock.

    >>> clock_text(1_782_000_000_000, "Europe/London")
    'Sun 21 Jun, 01:00'
    """
    at = local(at_ms, timezone)
    return f"{at:%a} {at.day} {at:%b, %H:%M}"


def span_of_days(from_: object, until: object, timezone: str) -> str:
    """Return the days between two RFC 3339 times, "" when one is not known.

    >>> span_of_days("2026-06-21T00:00:00Z", "2026-07-02T09:00:00Z", "UTC")
    '21 Jun to 2 Jul'
    """
    if not isinstance(from_, str) or not isinstance(until, str):
        return ""
    first, last = (local(parse_time_ms(one), timezone) for one in (from_, until))
    return f"{first.day} {first:%b} to {last.day} {last:%b}"


def form_time(at_ms: int, timezone: str) -> str:
    """Return the value of a form's date-and-time field."""
    return f"{local(at_ms, timezone):%Y-%m-%dT%H:%M}"


def ago(at_ms: int | None, now_ms: int) -> str:
    """Return how long ago, in the largest unit that fits.

    >>> ago(0, 30_000), ago(0, 5 * 60_000), ago(0, 26 * 3_600_000), ago(None, 5)
    ('just now', '5 min ago', '26 h ago', 'never')
    """
    if at_ms is None:
        return "never"
    return "just now" if now_ms - at_ms < MINUTE_MS else f"{span(now_ms - at_ms)} ago"


def hours_ago(age_h: float) -> str:
    """Return how long ago something was that is *age_h* hours old.

    >>> hours_ago(0.2), hours_ago(30.0), hours_ago(-0.1)
    ('12 min ago', '30 h ago', 'just now')
    """
    return ago(0, round(age_h * HOUR_MS))


def feeding_text(feeding: Mapping[str, Any], now_ms: int, timezone: str, units: Units) -> str:
    """Return what may be fed next and when, and what is left, in a line.

    >>> feeding_text({"next_feed_most_g": 510.0, "uneaten_g": 90, "text": "",
    ...               "next_feed_due": "2026-06-21T00:00:00Z"}, 0, "UTC", SI)
    'Next feed about Sun 21 Jun, at most about 510 g; about 90 g are uneaten.'
    """
    most_g, due = float(feeding["next_feed_most_g"]), feeding["next_feed_due"]
    uneaten_g = float(feeding["uneaten_g"])
    left = f"about {about_mass_text(uneaten_g, units)} are uneaten" if uneaten_g >= 1 else NONE_LEFT
    if not most_g:
        return f"{str(feeding['text']).removesuffix('.')}; {left}."
    due_ms = None if due is None else parse_time_ms(str(due))
    most = f"at most about {about_mass_text(most_g, units)}; {left}."
    if due_ms is None:
        return f"Next feed {most}"
    if due_ms <= now_ms:
        return f"You may feed now, {most}"
    at = local(due_ms, timezone)
    return f"Next feed about {at:%a} {at.day} {at:%b}, {most}"


def span(length_ms: float) -> str:
    """Return a length of time: minutes, hours up to two days, then days."""
    if length_ms < HOUR_MS:
        return f"{max(1, round(length_ms / MINUTE_MS))} min"
    if length_ms < 2 * DAY_MS:
        return f"{round(length_ms / HOUR_MS)} h"
    return f"{round(length_ms / DAY_MS)} days"


def sure(certainty: object) -> str:
    """Return how sure a finding is, in a word."""
    if not isinstance(certainty, int | float) or certainty >= 0.9:
        return "sure"
    return "likely" if certainty >= 0.6 else "perhaps"


FILTERS: Final[dict[str, Callable[..., str]]] = {
    "channel_label": channel_label,
    "channel_value": channel_value,
    "channel_unit": channel_unit,
    "bare_value": bare_value,
    "clock_text": clock_text,
    "form_time": form_time,
    "ago": ago,
    "hours_ago": hours_ago,
    "feeding_text": feeding_text,
    "clock_of": lambda text, timezone: clock_text(parse_time_ms(str(text)), timezone),
    "sure": sure,
    "span": span,
    "mass_text": mass_text,
    "volume_text": volume_text,
    "summary": summary,
    "rfc3339": rfc3339,
    "condition": lambda word: CONDITIONS.get(str(word), str(word)),
    "urgency": lambda word: PRIORITIES.get(str(word), str(word)),
    "film": lambda word: FILM.get(str(word), "lid not known"),
    "bin_kind": lambda word: BIN_KINDS.get(str(word), str(word)),
    "entry_kind": lambda word: ENTRY_KINDS.get(str(word), str(word)),
    "plain": lambda value, decimals=2: number_text(float(value), decimals),
}
