"""Units at the door: pounds, cups and °F come in and go out here; inside it is g, mL and °C.

`grams`, `millilitres` and `celsius` take a number with its unit; the `…_text` functions write a
quantity as the keeper likes to read it. Rounding here is for reading only, never for storing.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from underlid.errors import UnderlidError

GRAMS: Final[dict[str, float]] = {"g": 1.0, "kg": 1000.0, "lb": 453.59237, "oz": 28.349523125}
"""Grams in one of each: the international avoirdupois pound, exact by definition."""

MILLILITRES: Final[dict[str, float]] = {
    "ml": 1.0,
    "l": 1000.0,
    "cup": 236.5882365,
    "gal": 3785.411784,
}
"""Millilitres in one of each: US cup and US gallon, exact by definition (gallon = 231 in³)."""

FAHRENHEIT_PER_KELVIN: Final = 1.8
FAHRENHEIT_AT_0_C: Final = 32.0

OUNCES_TO_POUNDS: Final = 16.0
"""From this many ounces on, pounds are shown."""

ROUGH_K: Final = 1.0
"""A temperature known no better than this is shown in whole degrees (our judgement)."""

MINUS: Final = "−"


class MassUnit(StrEnum):
    """How masses are shown."""

    METRIC = "kg"
    POUNDS = "lb"


class TempUnit(StrEnum):
    """How temperatures are shown."""

    CELSIUS = "c"
    FAHRENHEIT = "f"


class VolumeUnit(StrEnum):
    """How volumes of liquid are shown."""

    METRIC = "l"
    US = "us"


@dataclass(frozen=True, slots=True)
class Units:
    """What the keeper likes to read."""

    mass: MassUnit = MassUnit.METRIC
    temp: TempUnit = TempUnit.CELSIUS
    volume: VolumeUnit = VolumeUnit.METRIC


SI: Final = Units()
US: Final = Units(MassUnit.POUNDS, TempUnit.FAHRENHEIT, VolumeUnit.US)

UNITS: Final = {"si": SI, "us": US}
"""By their word in the setting, in a browser, at an address and in the HTTP interface."""


def units_named(name: str) -> Units:
    """Return the units by their word in the setting and in the browser; all but "us" is SI.

    >>> units_named("us") is US, units_named("si") is SI
    (True, True)
    """
    return UNITS.get(name, SI)


def grams(value: float, unit: str) -> float:
    """Return *value* of a mass unit (g, kg, lb, oz) in grams.

    >>> grams(4, "lb")
    1814.36948
    """
    return value * _factor(unit, GRAMS, "mass unit")


def millilitres(value: float, unit: str) -> float:
    """Return *value* of a volume unit (ml, l, cup, gal) in millilitres.

    >>> round(millilitres(2, "cup"), 1)
    473.2
    """
    return value * _factor(unit, MILLILITRES, "volume unit")


def celsius(value: float, unit: str) -> float:
    """Return a temperature in c or f as °C.

    >>> celsius(77, "f"), celsius(25, "c")
    (25.0, 25)
    """
    word = unit.lower().lstrip("°")
    if word == "c":
        return value
    if word == "f":
        return (value - FAHRENHEIT_AT_0_C) / FAHRENHEIT_PER_KELVIN
    raise UnderlidError(
        "temperature unit", value=unit, expected="c or f", next_step="Write the value in °C or °F."
    )


def fahrenheit(temp_c: float) -> float:
    """Return °C as °F."""
    return temp_c * FAHRENHEIT_PER_KELVIN + FAHRENHEIT_AT_0_C


def mass_text(mass_g: float, units: Units = SI) -> str:
    """Return a mass as the keeper reads it.

    >>> mass_text(1800), mass_text(300), mass_text(1800, US), mass_text(300, US)
    ('1.8 kg', '300 g', '3.97 lb', '10.6 oz')
    """
    if units.mass is MassUnit.POUNDS:
        ounces = mass_g / GRAMS["oz"]
        if abs(ounces) < OUNCES_TO_POUNDS:
            return f"{number_text(ounces, 1)} oz"
        return f"{_three_figures(mass_g / GRAMS['lb'])} lb"
    if abs(round(mass_g)) < GRAMS["kg"]:
        return f"{number_text(mass_g, 0 if abs(mass_g) >= 10 else 1)} g"
    return f"{_three_figures(mass_g / GRAMS['kg'])} kg"


def volume_text(volume_ml: float, units: Units = SI) -> str:
    """Return a volume of liquid as the keeper reads it.

    >>> volume_text(350), volume_text(1500), volume_text(350, US)
    ('350 mL', '1.5 L', '1.5 cups')
    """
    if units.volume is VolumeUnit.US:
        if abs(volume_ml) >= MILLILITRES["gal"]:
            return f"{_three_figures(volume_ml / MILLILITRES['gal'])} gal"
        cups = number_text(volume_ml / MILLILITRES["cup"], 1)
        return f"{cups} cup" if cups == "1" else f"{cups} cups"
    if abs(round(volume_ml)) < MILLILITRES["l"]:
        return f"{number_text(volume_ml, 0)} mL"
    return f"{_three_figures(volume_ml / MILLILITRES['l'])} L"


def temp_text(temp_c: float, units: Units = SI) -> str:
    """Return a temperature as the keeper reads it.

    >>> temp_text(25.04), temp_text(25, US), temp_text(-3.2)
    ('25.0 °C', '77 °F', '−3.2 °C')
    """
    if units.temp is TempUnit.FAHRENHEIT:
        return f"{number_text(fahrenheit(temp_c), 0)} °F"
    return f"{_fixed(temp_c, 1)} °C"


def temp_step_text(step_k: float, units: Units = SI) -> str:
    """Return a difference of temperatures: never shifted by 32.

    >>> temp_step_text(2.5), temp_step_text(2.5, US)
    ('2.5 °C', '4.5 °F')
    """
    if units.temp is TempUnit.FAHRENHEIT:
        return f"{_fixed(step_k * FAHRENHEIT_PER_KELVIN, 1)} °F"
    return f"{_fixed(step_k, 1)} °C"


def about_temp_text(temp_c: float, spread_k: float, units: Units = SI) -> str:
    """Return a temperature that is only known to *spread_k*: whole degrees when that is 1 K or more.

    >>> about_temp_text(30.02, 6.0), about_temp_text(30.02, 0.4), about_temp_text(30.0, 6.0, US)
    ('30 °C', '30.0 °C', '86 °F')
    """
    if units.temp is TempUnit.CELSIUS and spread_k >= ROUGH_K:
        return f"{_fixed(temp_c, 0)} °C"
    return temp_text(temp_c, units)


def about_step_text(step_k: float, units: Units = SI) -> str:
    """Return a difference of temperatures in whole degrees, as it stands after "about".

    >>> about_step_text(3.0), about_step_text(3.0, US)
    ('3 °C', '5 °F')
    """
    if units.temp is TempUnit.FAHRENHEIT:
        return f"{_fixed(step_k * FAHRENHEIT_PER_KELVIN, 0)} °F"
    return f"{_fixed(step_k, 0)} °C"


def about_mass_text(mass_g: float, units: Units = SI) -> str:
    """Return a mass that is only known roughly, to two figures, as it stands after "about".

    >>> about_mass_text(1990), about_mass_text(498), about_mass_text(1990, US)
    ('2 kg', '500 g', '4.4 lb')
    """
    pounds = units.mass is MassUnit.POUNDS
    one_g = 1.0
    if pounds:
        heavy = abs(mass_g) >= OUNCES_TO_POUNDS * GRAMS["oz"]
        one_g = GRAMS["lb"] if heavy else GRAMS["oz"]
    return mass_text(two_figures(mass_g / one_g) * one_g, units)


def about_volume_text(volume_ml: float, units: Units = SI) -> str:
    """Return a volume that is only known roughly, to two figures.

    >>> about_volume_text(7236), about_volume_text(3650), about_volume_text(1740, US)
    ('7.2 L', '3.6 L', '7.4 cups')
    """
    one_ml = 1.0
    if units.volume is VolumeUnit.US:
        one_ml = MILLILITRES["gal" if abs(volume_ml) >= MILLILITRES["gal"] else "cup"]
    return volume_text(two_figures(volume_ml / one_ml) * one_ml, units)


def two_figures(value: float) -> float:
    """Return a number to two significant figures.

    >>> two_figures(7236.0), two_figures(0.4449), two_figures(0.0)
    (7200.0, 0.44, 0.0)
    """
    return float(f"{value:.2g}")


def number_text(value: float, decimals: int) -> str:
    """Return *value* with at most *decimals* places, no trailing zeros, a true minus sign.

    >>> number_text(2.50, 2), number_text(-0.04, 1), number_text(-3, 0)
    ('2.5', '0', '−3')
    """
    text = _fixed(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _fixed(value: float, decimals: int) -> str:
    """Return *value* with exactly *decimals* places; no negative zero."""
    text = f"{value:.{decimals}f}"
    if text.startswith("-"):
        return text[1:] if not text.strip("-0.") else MINUS + text[1:]
    return text


def _three_figures(value: float) -> str:
    """Return about three significant figures: 1.85, 22.5, 140."""
    size = abs(value)
    return number_text(value, 2 if size < 10 else 1 if size < 100 else 0)


def _factor(unit: str, table: dict[str, float], what: str) -> float:
    """Return what one of *unit* is in the table's first unit."""
    try:
        return table[unit.lower()]
    except KeyError:
        raise UnderlidError(
            what, value=unit, expected=" or ".join(table), next_step="Use one of these units."
        ) from None
