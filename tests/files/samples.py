"""A set-up, readings and entries for the tests of files, replay and commands."""

from __future__ import annotations

from underlid.binmodel.bins import Setup
from underlid.files.setup import parse_setup
from underlid.journal.entries import Entry
from underlid.journal.parse import entry_from_fields
from underlid.readings.values import Reading
from underlid.timeline import MINUTE_MS

T0_MS = 1_790_000_000_000 // (60 * MINUTE_MS) * (60 * MINUTE_MS)

SHED_TOML = """
[shed.potting]
name = "Potting shed"
air_probe = "potting-air"
timezone = "Europe/London"

[bin.tansy]
shed = "potting"
name = "Tansy"
kind = "flow-through-bag"
species = ["eisenia-fetida"]
herd_kg = 1.2
limits = { hot_warn_c = 26.0 }
[[bin.tansy.probe]]
id = "tansy-1"
depth_cm = 15
soil_dry_raw = 2750
soil_wet_raw = 1150
soil_points = [[0.40, 62.0], [0.62, 78.0]]
[[bin.tansy.probe.calibration]]
channel = "bed_temp_c"
offset = -0.2
from = 2026-05-01T00:00:00Z
how = "ice point"
"""


def setup() -> Setup:
    """Return the sample set-up."""
    return parse_setup(SHED_TOML.encode())


def reading(minute: int, late_minutes: int = 0, probe: str = "tansy-1", **values: float) -> Reading:
    """Return a reading taken at *minute*."""
    taken_ms = T0_MS + minute * MINUTE_MS
    return Reading(
        probe,
        "potting",
        taken_ms,
        taken_ms + late_minutes * MINUTE_MS,
        values or {"bed_temp_c": 21.5},
    )


def entry(minute: int, id_: str = "e1", **fields: object) -> Entry:
    """Return an entry of Tansy's journal, known when it happened."""
    at_ms = T0_MS + minute * MINUTE_MS
    return entry_from_fields(
        {"bin": "tansy", "time": at_ms / 1000, **fields}, known_at_ms=at_ms, new_id=id_
    )
