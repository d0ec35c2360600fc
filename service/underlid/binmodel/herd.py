"""The limits of a bin: what its worms stand, and the few of its lid and probes.

Defaults by species; a mixed herd gets the tighter limit of each; `Bin.limits` overrides single
ones by the field names below. Which rule uses which is in `rules/`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Final

from underlid.binmodel.bins import Bin, Species
from underlid.errors import UnderlidError


@dataclass(frozen=True, slots=True)
class Limits:
    """Every limit of a bin that a keeper may change."""

    cold_alarm_c: float = 4.0
    cold_warn_c: float = 10.0
    hot_warn_c: float = 27.0
    hot_alarm_c: float = 30.0
    hot_critical_c: float = 33.0
    moisture_low_alarm_pct: float = 60.0
    moisture_low_warn_pct: float = 65.0
    moisture_high_warn_pct: float = 85.0
    moisture_high_alarm_pct: float = 90.0
    film_warn_g_m2: float = 70.0
    """From here water runs down a lid (BS 5250 bands, from memory)."""
    film_alarm_g_m2: float = 250.0
    """From here it drips (the same)."""
    dry_within_d: float = 7.0
    """A forecast of drying out is worth a message this many days ahead (our judgement)."""
    silent_min: float = 30.0
    """A probe is silent after this or three usual intervals, whichever is longer (our judgement)."""
    battery_low_v: float = 3.4
    """A battery is weak from here down: a lithium cell of which a tenth or so is left (our judgement)."""


_FETIDA: Final = Limits()
SPECIES_LIMITS: Final[dict[Species, Limits]] = {
    Species.EISENIA_FETIDA: _FETIDA,
    Species.EISENIA_ANDREI: _FETIDA,
    Species.EISENIA_HORTENSIS: replace(
        _FETIDA, hot_warn_c=25.0, hot_alarm_c=28.0, hot_critical_c=32.0
    ),
    Species.PERIONYX_EXCAVATUS: replace(
        _FETIDA,
        cold_alarm_c=10.0,
        cold_warn_c=15.0,
        hot_warn_c=29.0,
        hot_critical_c=32.0,
        moisture_low_alarm_pct=65.0,
        moisture_low_warn_pct=70.0,
    ),
    Species.EUDRILUS_EUGENIAE: replace(
        _FETIDA,
        cold_alarm_c=10.0,
        cold_warn_c=15.0,
        hot_warn_c=29.0,
        moisture_low_alarm_pct=65.0,
        moisture_low_warn_pct=70.0,
    ),
}
"""Built on Edwards, Earthworm Ecology, Table 18.3 (*E. fetida* 4..30 °C, moisture 60..90 %), Kaplan
et al. 1980, NC State extension; the steps between warning and alarm are our judgement."""

_HIGHER_IS_TIGHTER: Final = (
    "cold_alarm_c",
    "cold_warn_c",
    "moisture_low_alarm_pct",
    "moisture_low_warn_pct",
)

LIMIT_NAMES: Final = tuple(field.name for field in fields(Limits))


def limits_of(bin_: Bin) -> Limits:
    """Return the limits of *bin_*: its species', the tighter of each, with its own overrides.

    >>> mixed = Bin("b", "s", species=(Species.EISENIA_HORTENSIS, Species.EUDRILUS_EUGENIAE))
    >>> limits_of(mixed).hot_alarm_c, limits_of(mixed).cold_warn_c
    (28.0, 15.0)
    """
    each = [SPECIES_LIMITS[species] for species in bin_.species] or [_FETIDA]
    chosen = {
        name: (max if name in _HIGHER_IS_TIGHTER else min)(getattr(one, name) for one in each)
        for name in LIMIT_NAMES
    }
    for name, value in bin_.limits.items():
        if name not in chosen:
            raise UnderlidError(
                f"limit of bin {bin_.id}",
                value=name,
                expected="one of " + ", ".join(LIMIT_NAMES),
                next_step="Correct its name.",
            )
        chosen[name] = float(value)
    return Limits(**chosen)
