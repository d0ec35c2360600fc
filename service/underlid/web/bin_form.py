"""The numbers of a bin as fields of its form: in the keeper's units, with limits other than its herd's.

A field that was not touched keeps what the bin had to the last digit.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Final

from underlid.binmodel.bins import Bin
from underlid.binmodel.herd import Limits, limits_of
from underlid.journal.units import GRAMS, MILLILITRES, TempUnit, Units, celsius, fahrenheit
from underlid.web.forms import FieldError, needed_number, number

NUMBERS: Final = {
    "herd_kg": ("worms", 0.05, 5000.0),
    "volume_l": ("volume", 1.0, 100_000.0),
    "bed_kg": ("bed", 0.5, 50_000.0),
    "lid_area_m2": ("lid area", 0.01, 500.0),
    "target_moisture_pct": ("moisture to keep", 50.0, 90.0),
}
"""Field -> label and believable range: from a bucket to a farm's windrow (our judgement)."""

METRIC_UNITS: Final = {
    "herd_kg": "kg",
    "volume_l": "litres",
    "bed_kg": "kg",
    "lid_area_m2": "m²",
    "target_moisture_pct": "%",
}
US_UNITS: Final = METRIC_UNITS | {
    "herd_kg": "lb",
    "volume_l": "gallons",
    "bed_kg": "lb",
    "lid_area_m2": "square feet",
}
POUND_KG: Final = GRAMS["lb"] / GRAMS["kg"]
IN_US: Final = {
    "herd_kg": POUND_KG,
    "volume_l": MILLILITRES["gal"] / MILLILITRES["l"],
    "bed_kg": POUND_KG,
    "lid_area_m2": 0.09290304,
}
"""Field -> one of its US unit in ours; the foot is 0.3048 m by definition."""

TEMP_SPAN_C: Final = (-10.0, 60.0)
LIMITS: Final = {
    "hot_warn_c": ("too warm from", *TEMP_SPAN_C),
    "hot_alarm_c": ("much too warm from", *TEMP_SPAN_C),
    "hot_critical_c": ("deadly from", *TEMP_SPAN_C),
    "cold_warn_c": ("too cold below", *TEMP_SPAN_C),
    "cold_alarm_c": ("much too cold below", *TEMP_SPAN_C),
    "moisture_low_warn_pct": ("too dry below", 20.0, 95.0),
    "moisture_low_alarm_pct": ("much too dry below", 20.0, 95.0),
    "moisture_high_warn_pct": ("too wet from", 20.0, 99.0),
    "moisture_high_alarm_pct": ("much too wet from", 20.0, 99.0),
    "film_warn_g_m2": ("lid runs with water from", 5.0, 2000.0),
    "film_alarm_g_m2": ("lid drips from", 5.0, 2000.0),
    "dry_within_d": ("tell that it dries out, days ahead", 0.0, 60.0),
    "silent_min": ("a probe is silent after", 1.0, 10_080.0),
    "battery_low_v": ("a battery is weak from", 0.0, 30.0),
}
"""Limit -> label and the range in which it may be set."""

IN_ORDER: Final = (
    ("cold_alarm_c", "cold_warn_c", "hot_warn_c", "hot_alarm_c", "hot_critical_c"),
    (
        "moisture_low_alarm_pct",
        "moisture_low_warn_pct",
        "moisture_high_warn_pct",
        "moisture_high_alarm_pct",
    ),
    ("film_warn_g_m2", "film_alarm_g_m2"),
)
UNIT_OF: Final = {"_pct": "%", "_m2": "g/m²", "_d": "days", "_min": "min", "_v": "V"}


def number_units(units: Units) -> dict[str, str]:
    """Return the unit of each number as the form asks for it."""
    return US_UNITS if is_us(units) else METRIC_UNITS


def is_us(units: Units) -> bool:
    """Tell whether the form is in US units."""
    return units.temp is TempUnit.FAHRENHEIT


def number_fields(one: Bin, units: Units) -> dict[str, str]:
    """Return a bin's numbers and own limits as fields.

    >>> from underlid.journal.units import US
    >>> number_fields(Bin("b", "s", herd_kg=1.2, limits={"hot_warn_c": 25.0}), US)["herd_kg"]
    '2.646'
    """
    factors = IN_US if is_us(units) else {}
    fields = {name: f"{getattr(one, name) / factors.get(name, 1.0):.4g}" for name in NUMBERS}
    return fields | {f"limit_{name}": _limit_text(name, v, units) for name, v in one.limits.items()}


def usual_limits(one: Bin, units: Units) -> dict[str, tuple[str, str, str]]:
    """Return label, the herd's own value and the unit of each limit."""
    usual = limits_of(Bin(one.id, one.shed, species=one.species))
    return {
        name: (label, _limit_text(name, getattr(usual, name), units), _limit_unit(name, units))
        for name, (label, _, _) in LIMITS.items()
    }


def numbers_from(form: Mapping[str, str], before: Bin | None, units: Units) -> dict[str, float]:
    """Return the numbers that the form has, in our units."""
    shown = {} if before is None else number_fields(before, units)
    factors = IN_US if is_us(units) else {}
    values = {}
    for name, (label, low, high) in NUMBERS.items():
        factor = factors.get(name, 1.0)
        said = f"{label}, {number_units(units)[name]}"
        given = needed_number(form, name, said, low / factor, high / factor)
        kept = before is not None and form.get(name, "").strip() == shown[name]
        values[name] = getattr(before, name) if kept else given * factor
    return values


def limits_from(
    form: Mapping[str, str], made: Bin, before: Bin | None, units: Units
) -> dict[str, float]:
    """Return the limits that the form sets for *made*; an empty field is the herd's own."""
    shown = {} if before is None else number_fields(before, units)
    limits: dict[str, float] = {}
    for name, (label, low, high) in LIMITS.items():
        field = f"limit_{name}"
        in_f = name.endswith("_c") and is_us(units)
        span = (fahrenheit(low), fahrenheit(high)) if in_f else (low, high)
        given = number(form, field, label, *span)
        if given is None:
            continue
        kept = before is not None and form.get(field, "").strip() == shown.get(field)
        if kept and before is not None:
            limits[name] = before.limits[name]
        else:
            limits[name] = round(celsius(given, "f"), 3) if in_f else given
    _require_order(limits_of(Bin(made.id, made.shed, species=made.species, limits=limits)), limits)
    return limits


def _require_order(all_limits: Limits, own: Mapping[str, float]) -> None:
    """Refuse limits of which a milder one would come after a worse one."""
    for names in IN_ORDER:
        for mild, next_ in pairwise(names):
            if getattr(all_limits, mild) > getattr(all_limits, next_):
                wrong, other = (mild, next_) if mild in own else (next_, mild)
                raise FieldError(
                    f"limit_{wrong}",
                    LIMITS[wrong][0],
                    value=round(getattr(all_limits, wrong), 2),
                    expected=f"in order with “{LIMITS[other][0]}”, {getattr(all_limits, other):g}",
                    next_step="Correct one of the two.",
                )


def _limit_text(name: str, value: float, units: Units) -> str:
    return f"{fahrenheit(value) if name.endswith('_c') and is_us(units) else value:.4g}"


def _limit_unit(name: str, units: Units) -> str:
    if name.endswith("_c"):
        return "°F" if is_us(units) else "°C"
    return next((unit for ending, unit in UNIT_OF.items() if name.endswith(ending)), "")
