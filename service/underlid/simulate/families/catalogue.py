"""Every family of cases by name, in the order in which they are scored."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from underlid.simulate.families import calm, events, faults, water
from underlid.simulate.sketch import Sketch

Family = Callable[[int], Sketch]

FAMILIES: Final[dict[str, Family]] = {
    "quiet-month": calm.quiet_month,
    "wet-feeds": events.wet_feeds,
    "dry-feeds": events.dry_feeds,
    "heat-wave": events.heat_wave,
    "cold-snap": events.cold_snap,
    "slow-drying": events.slow_drying,
    "over-watering": events.over_watering,
    "dry-room": water.dry_room,
    "dry-and-watered": water.dry_and_watered,
    "flooded": water.flooded,
    "wet-bed": water.wet_bed,
    "near-the-limits": water.near_the_limits,
    "lid-types": events.lid_types,
    "lid-opened": calm.lid_opened,
    "hungry": calm.hungry,
    "new-bin": calm.new_bin,
    "summer-weather": calm.summer_weather,
    "winter-weather": calm.winter_weather,
    "no-shed-probe": events.no_shed_probe,
    "late-and-shuffled": events.late_and_shuffled,
    **{faults.name_of(kind): faults.alone(kind) for kind in faults.WAYS},
    **{f"{faults.name_of(kind)}-in-event": faults.in_event(kind) for kind in faults.WAYS},
}

NEED_RECORDS: Final = ("summer-weather", "winter-weather")
"""Families that need outdoor records (`weather_files`)."""
