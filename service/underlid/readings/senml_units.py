"""SenML names and units -> Underlid's channels: which fit, and how they convert.

Units: RFC 8428 section 12.1, and the secondary units of RFC 8798 section 3 (read in its draft of
October 2019; `/100` and `/1000`, which came later, from memory). Packs are resolved in `senml.py`.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final, TypeAlias

import msgspec

from underlid.readings.channels import CHANNEL_NAME, CHANNELS
from underlid.readings.refusal import RefusedError
from underlid.readings.topics import bad_channel
from underlid.readings.values import RejectReason

NAMES_CACHED: Final = 4096
"""Pairs of name and unit remembered; a farm uses a few dozen."""

UnitTable: TypeAlias = dict[str, tuple[float, float]]
"""SenML unit -> (scale, offset): channel value = scale · value + offset, as in RFC 8798."""

CELSIUS: Final[UnitTable] = {"Cel": (1.0, 0.0), "K": (1.0, -273.15)}
HUMIDITY: Final[UnitTable] = {
    "%RH": (1.0, 0.0),
    "/": (100.0, 0.0),
    "%": (100.0, 0.0),
    "/100": (1.0, 0.0),
    "/1000": (0.1, 0.0),
}
"""RFC 8428: `%` is not percent but a deprecated name of the ratio `/`, 0 to 1."""
PER_CENT: Final[UnitTable] = {unit: by for unit, by in HUMIDITY.items() if unit != "%RH"}
RATIO: Final[UnitTable] = {
    "/": (1.0, 0.0),
    "%": (1.0, 0.0),
    "/100": (0.01, 0.0),
    "/1000": (0.001, 0.0),
    "ppm": (1e-6, 0.0),
}
COUNT: Final[UnitTable] = {"count": (1.0, 0.0), "/": (1.0, 0.0)}
MASS: Final[UnitTable] = {"kg": (1.0, 0.0), "g": (0.001, 0.0)}
VOLTAGE: Final[UnitTable] = {"V": (1.0, 0.0), "mV": (0.001, 0.0)}
LEVEL: Final[UnitTable] = {"dBm": (1.0, 0.0), "dBW": (1.0, 30.0)}

UNITS: Final[dict[str, UnitTable]] = {
    "bed_temp_c": CELSIUS,
    "headspace_temp_c": CELSIUS,
    "headspace_rh_pct": HUMIDITY,
    "lid_temp_c": CELSIUS,
    "shed_temp_c": CELSIUS,
    "shed_rh_pct": HUMIDITY,
    "soil_raw": COUNT,
    "soil_index": RATIO,
    "moisture_pct": PER_CENT,
    "bin_mass_kg": MASS,
    "battery_v": VOLTAGE,
    "rssi_dbm": LEVEL,
}
"""For every judged channel the units that are of its kind."""

NAMES: Final[dict[str, str]] = {
    "bed-temp": "bed_temp_c",
    "headspace-temp": "headspace_temp_c",
    "headspace-rh": "headspace_rh_pct",
    "lid-temp": "lid_temp_c",
    "shed-temp": "shed_temp_c",
    "shed-rh": "shed_rh_pct",
    "soil": "soil_raw",
    "moisture": "moisture_pct",
    "mass": "bin_mass_kg",
    "battery": "battery_v",
    "rssi": "rssi_dbm",
}
"""SenML name -> channel. Any other name becomes a channel with `_` for `-`."""

SOIL_UNITS: Final = frozenset({None, "", "/"})
SOIL_INDEX_SPAN: Final = (-0.5, 1.5)
"""`soil` with no unit but 1 may be either: within the index's range it is taken for an index,
beyond it for counts (`count` always means counts)."""


class Target(msgspec.Struct, frozen=True, gc=False):
    """Where a record's value goes: channel value = scale · value + offset."""

    channel: str
    scale: float = 1.0
    offset: float = 0.0
    exact: bool = True
    """True when nothing needs converting."""
    soil: bool = False
    """The name `soil`, which may be an index or counts."""


def _channel(name: str, unit: str | None) -> str:
    """Return the channel that *name* means, which need not be a good one."""
    if name == "soil" and unit not in SOIL_UNITS and unit in RATIO:
        return "soil_index"
    return NAMES.get(name) or name.replace("-", "_")


@lru_cache(NAMES_CACHED)
def target(name: str, unit: str | None) -> Target | None:
    """Return where a value of *name* in *unit* goes; None when it cannot (see `why_not`).

    >>> target("bed-temp", "K").offset, target("co2", "ppm").channel, target("bed-temp", "V")
    (-273.15, 'co2', None)
    """
    channel = _channel(name, unit)
    if CHANNEL_NAME.fullmatch(channel) is None:
        return None
    if channel not in CHANNELS:
        return Target(channel)
    soil = name == "soil" and unit in SOIL_UNITS
    if not unit:
        return Target(channel, soil=soil)
    by = UNITS[channel].get(unit)
    if by is None:
        return None
    return Target(channel, *by, by == (1.0, 0.0), soil=soil)


def why_not(name: str, unit: str | None) -> RefusedError:
    """Return the refusal of a *name* and *unit* for which there is no target."""
    channel = _channel(name, unit)
    if channel not in CHANNELS:
        return bad_channel(name)
    return RefusedError(
        RejectReason.WRONG_UNIT,
        f"unit of {name}",
        value=unit,
        expected=f"one of {', '.join(UNITS[channel])}",
        next_step="Convert it in the firmware; Underlid does not guess what it measures.",
    )
