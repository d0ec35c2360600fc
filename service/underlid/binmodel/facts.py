"""What of a set-up concerns one bin: its shed, limits, probes and time zone.

A judge works this out once a set-up, not once a judgement. The set-up is `bins.py`; what a bin is
judged on is `window.py`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, tzinfo
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from underlid.binmodel.bins import Bin, ProbePlace, Setup, Shed
from underlid.binmodel.herd import Limits, limits_of


@dataclass(frozen=True, slots=True)
class Facts:
    """What of a set-up concerns one bin."""

    bin: Bin
    shed: Shed
    limits: Limits
    places: tuple[ProbePlace, ...]
    air_places: tuple[ProbePlace, ...]
    reports_air: bool
    zone: tzinfo

    @property
    def probes(self) -> list[str]:
        """Return the names of the probes in the bin."""
        return [place.probe for place in self.places]


def facts_of(setup: Setup) -> dict[str, Facts]:
    """Return the facts of every bin, in one pass over bins and probes."""
    in_bin: dict[str, list[ProbePlace]] = {}
    in_air: dict[str, list[ProbePlace]] = {}
    for place in setup.probes.values():
        if place.bin is not None:
            in_bin.setdefault(place.bin, []).append(place)
        shed = setup.sheds.get(place.shed)
        named = shed.air_probe if shed else None
        if place.probe == named or (named is None and place.bin is None):
            in_air.setdefault(place.shed, []).append(place)
    reporter: dict[str, str] = {}
    for bin_ in setup.bins.values():
        reporter[bin_.shed] = min(bin_.id, reporter.get(bin_.shed, bin_.id))
    return {
        bin_.id: Facts(
            bin=bin_,
            shed=setup.sheds.get(bin_.shed, Shed(bin_.shed)),
            limits=limits_of(bin_),
            places=tuple(in_bin.get(bin_.id, ())),
            air_places=tuple(in_air.get(bin_.shed, ())),
            reports_air=reporter[bin_.shed] == bin_.id,
            zone=zone_named(setup.sheds[bin_.shed].timezone if bin_.shed in setup.sheds else "UTC"),
        )
        for bin_ in setup.bins.values()
    }


def probes_watched(facts: Iterable[Facts]) -> dict[str, tuple[str, ...]]:
    """Return the probes of each shed that any of its bins is judged by."""
    found: dict[str, set[str]] = {}
    for one in facts:
        places = (*one.places, *(one.air_places if one.reports_air else ()))
        found.setdefault(one.bin.shed, set()).update(place.probe for place in places)
    return {shed: tuple(sorted(probes)) for shed, probes in found.items()}


def bins_reached(setup: Setup, probe: str) -> set[str]:
    """Return the bins whose judgement a probe touches."""
    place = setup.probes[probe]
    shed = setup.sheds.get(place.shed)
    if place.bin is not None and not (shed and shed.air_probe == probe):
        return {place.bin} & setup.bins.keys()
    return {one.id for one in setup.bins.values() if one.shed == place.shed}


@lru_cache
def zone_named(name: str) -> tzinfo:
    """Return the time zone of a name; UTC for a name that the machine does not know."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return UTC
