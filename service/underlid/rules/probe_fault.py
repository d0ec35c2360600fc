"""The probes themselves: silent, dead, shorted, stuck. A faulty probe raises no bin alert.

Values that no working sensor says were left out of the window already (`readings.plausibility`); here
the keeper is told which probe to look at.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from underlid.binmodel.bins import ProbePlace
from underlid.binmodel.hot import BUCKETS_PER_HOUR, HotProbe
from underlid.binmodel.vitals import Vitals
from underlid.binmodel.window import BinWindow
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.timeline import HOUR_MS, MINUTE_MS, SECOND_MS

INTERVALS_MISSED: Final = 3.0
"""Silent: three usual intervals (science page, fault classes), and `silent_min` at the least."""

DOUBT_LASTS_MS: Final = HOUR_MS
STUCK_H: Final = 6
SIBLING_MOVED_K: Final = 1.5
STEP_K: Final = 0.02
"""Stuck: within one step of a fine sensor for six hours while a sibling moved over 1.5 K."""

TEMPERATURES: Final = ("bed_temp_c", "headspace_temp_c", "shed_temp_c", "lid_temp_c")


def evaluate(window: BinWindow) -> Iterator[Finding]:
    """Yield one finding for each probe that this bin depends on."""
    own = window.places
    air = tuple(place for place in window.air_places if place not in own)
    for place in (*own, *air) if window.reports_air else own:
        yield _finding(window, place, window.vitals.get(place.probe))


def silent_after_ms(vitals: Vitals, window: BinWindow) -> float:
    """Return the age of the last reading at which a probe counts as silent."""
    least_ms = window.limits.silent_min * MINUTE_MS
    return max(least_ms, INTERVALS_MISSED * vitals.usual_interval_ms)


def _finding(window: BinWindow, place: ProbePlace, probe: Vitals | None) -> Finding:
    if probe is None or probe.newest_taken_ms < 0:
        return Finding(
            Condition.PROBE_FAULT,
            Verdict.UNKNOWN,
            reason="this probe has sent nothing yet",
            subject=place.probe,
        )
    age_ms = window.now_ms - probe.newest_taken_ms
    evidence: dict[str, float | str] = {"age_s": max(0, age_ms) // SECOND_MS}
    why = ""
    if age_ms > silent_after_ms(probe, window):
        why = "silent"
    else:
        for channel, (at_ms, doubt) in probe.doubted.items():
            good_at_ms = probe.last_values.get(channel, (-1, 0.0))[0]
            if window.now_ms - at_ms < DOUBT_LASTS_MS and good_at_ms < at_ms:
                why, evidence["channel"] = doubt, channel
        stuck = _stuck(window, window.probes.get(place.probe))
        if not why and stuck:
            why, evidence["channel"] = "stuck", stuck
    return Finding(
        Condition.PROBE_FAULT,
        Verdict.HOLDS if why else Verdict.CLEAR,
        Priority.MEDIUM if why == "silent" else Priority.LOW,
        0.9,
        evidence,
        cause=why,
        reason=why.replace("_", " "),
        subject=place.probe,
    )


def _stuck(window: BinWindow, probe: HotProbe | None) -> str:
    """Return a temperature channel that stood still while another moved, or nothing."""
    names = [name for name in TEMPERATURES if probe is not None and name in probe.channels]
    if probe is None or len(names) < 2:
        return ""
    count = STUCK_H * BUCKETS_PER_HOUR
    ranges = {}
    for name in names:
        means = probe.means(name, window.end - count, window.end)
        known = means[~np.isnan(means)]
        if len(known) > count // 2:
            ranges[name] = float(np.ptp(known))
    if not ranges or max(ranges.values()) < SIBLING_MOVED_K:
        return ""
    return next((name for name, span in ranges.items() if span < STEP_K), "")
