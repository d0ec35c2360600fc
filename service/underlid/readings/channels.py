"""The channels that are judged, their units, and the range in which a value is believable.

Any other name that fits `CHANNEL_NAME` is stored and plotted without judgement. The SenML names
and units of `senml.py` map onto these.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

ID_PATTERN: Final = re.compile(r"[a-z0-9][a-z0-9_-]{0,63}")
"""Sheds, bins and probes: safe in a topic, a file name, an address and a line of any store."""

CHANNEL_NAME: Final = re.compile(r"[a-z][a-z0-9_]{0,31}")


@dataclass(frozen=True, slots=True)
class Channel:
    """One measured quantity: where it is shown, and what a working sensor can say."""

    name: str
    label: str
    unit: str
    low: float
    high: float


CHANNELS: Final[dict[str, Channel]] = {
    channel.name: channel
    for channel in (
        Channel("bed_temp_c", "Bed", "°C", -10.0, 60.0),
        Channel("headspace_temp_c", "Headspace", "°C", -20.0, 60.0),
        Channel("headspace_rh_pct", "Headspace humidity", "%RH", 1.0, 102.0),
        Channel("lid_temp_c", "Lid", "°C", -20.0, 60.0),
        Channel("shed_temp_c", "Shed air", "°C", -40.0, 60.0),
        Channel("shed_rh_pct", "Shed humidity", "%RH", 1.0, 102.0),
        Channel("soil_raw", "Soil probe", "counts", 0.0, 65535.0),
        Channel("soil_index", "Soil index", "", -0.5, 1.5),
        Channel("moisture_pct", "Bed moisture", "% wet basis", 0.0, 100.0),
        Channel("bin_mass_kg", "Bin mass", "kg", 0.0, 2000.0),
        Channel("battery_v", "Battery", "V", 0.0, 30.0),
        Channel("rssi_dbm", "Signal", "dBm", -150.0, 20.0),
    )
}
"""Ranges: science page section 7 for temperature and humidity, but that air below 1 % is nowhere around
worms and is what a dead sensor says; the rest our judgement."""


def is_id(text: str) -> bool:
    """Tell whether *text* may name a shed, bin or probe."""
    return ID_PATTERN.fullmatch(text) is not None


def is_channel_name(text: str) -> bool:
    """Tell whether *text* may name a channel."""
    return CHANNEL_NAME.fullmatch(text) is not None
