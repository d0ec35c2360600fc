"""Which channels of which probes a bin is judged by."""

from __future__ import annotations

from underlid.binmodel.faults.fault import Key
from underlid.binmodel.probes.hot import HotProbe
from underlid.binmodel.window import BinWindow


def keys_of(window: BinWindow) -> list[Key]:
    """Return the judged channels of the bin's probes, and of the air around."""
    keys = {}
    for place in window.places:
        probe = window.probes.get(place.probe)
        for channel in probe.channels if probe else ():
            keys[place.probe, channel] = True
    for place in window.air_places:
        probe = window.probes.get(place.probe)
        for channel in probe.channels if probe else ():
            if channel.startswith("shed_"):
                keys[place.probe, channel] = True
    return sorted(keys)


def probe_with(window: BinWindow, channel: str) -> HotProbe | None:
    """Return the first probe that measures *channel* for the bin."""
    places = window.air_places if channel.startswith("shed_") else ()
    for place in (*places, *window.places):
        probe = window.probes.get(place.probe)
        if probe is not None and channel in probe.channels:
            return probe
    return None
