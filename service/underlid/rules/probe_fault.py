"""The probes themselves: silent, dead, stuck, drifting, moved. A faulty probe raises no bin alert.

What of a channel is not believed is found in `binmodel.trust`, which has left it out of the window
already; what shows at once in the newest value comes from `binmodel.probes.vitals`. Here the keeper is told
which probe to look at: one finding a probe, whatever is wrong with it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from underlid.binmodel.bins import ProbePlace
from underlid.binmodel.faults.fault import Cause, Fault
from underlid.binmodel.probes.hot import BUCKET_MS
from underlid.binmodel.probes.vitals import Vitals
from underlid.binmodel.window import BinWindow
from underlid.rules.finding import Condition, Finding, Priority, Verdict
from underlid.timeline import HOUR_MS, MINUTE_MS, SECOND_MS, rfc3339

INTERVALS_MISSED: Final = 3.0
"""Silent: three usual intervals (science page, fault classes), and `silent_min` at the least."""

LOSSY: Final = 3.0
"""A probe that loses readings is silent, and not just losing another few, after so many times that."""

WEAK_BATTERY: Final = "weak_battery"

DOUBT_LASTS_MS: Final = HOUR_MS

ORDER: Final = (
    Cause.PULLED_OUT,
    Cause.NONSENSE,
    Cause.STUCK,
    Cause.DRIFT,
    Cause.NOISE,
    Cause.MOVED,
    Cause.SPIKE,
    Cause.DROPOUT,
)
"""Of several faults of a probe the first of these is told."""

CERTAINTY: Final = {
    Cause.PULLED_OUT: 0.8,
    Cause.NONSENSE: 0.95,
    Cause.STUCK: 0.85,
    Cause.DRIFT: 0.6,
    Cause.NOISE: 0.8,
    Cause.MOVED: 0.7,
    Cause.SPIKE: 0.9,
    Cause.DROPOUT: 0.8,
}
"""How sure each kind is (our judgement): drift is told by what other channels explain."""


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
    found = window.trust.faults(place.probe) if window.trust is not None else []
    certainty = 0.9
    why = ""
    if probe.clock_off_ms(window.now_ms):
        why, evidence["clock_off_s"] = "wrong_clock", probe.clock_off_ms(window.now_ms) // SECOND_MS
    elif age_ms > silent_after_ms(probe, window) * (LOSSY if _loses(found) else 1.0):
        why = "silent"
    else:
        why = _doubted(window, probe, evidence)
        fault = None if why else _fault(found)
        if fault is not None:
            why, certainty = fault.cause.value, CERTAINTY[fault.cause]
            _say_since(fault, evidence)
        elif not why:
            why = _battery(window, probe, evidence)
    return Finding(
        Condition.PROBE_FAULT,
        Verdict.HOLDS if why else Verdict.CLEAR,
        Priority.MEDIUM if why == "silent" else Priority.LOW,
        certainty,
        evidence,
        cause=why,
        reason=why.replace("_", " "),
        subject=place.probe,
    )


def _doubted(window: BinWindow, probe: Vitals, evidence: dict[str, float | str]) -> str:
    """Return what is wrong with the newest value of a channel, if it is one no sensor says."""
    why = ""
    for channel, (at_ms, doubt) in probe.doubted.items():
        good_at_ms = probe.last_values.get(channel, (-1, 0.0))[0]
        if window.now_ms - at_ms < DOUBT_LASTS_MS and good_at_ms < at_ms:
            why, evidence["channel"] = doubt, channel
    return why


def _battery(window: BinWindow, probe: Vitals, evidence: dict[str, float | str]) -> str:
    """Return whether the probe's battery is weak; what it measures is believed as before."""
    least_v, limit_v = probe.battery_least_v, window.limits.battery_low_v
    if least_v is None or least_v > limit_v or limit_v <= 0.0:
        return ""
    evidence |= {"battery_v": round(least_v, 3), "limit_v": limit_v}
    return WEAK_BATTERY


def _loses(found: Sequence[Fault]) -> bool:
    """Tell whether the probe is known to lose readings."""
    return any(one.cause is Cause.DROPOUT for one in found)


def _fault(found: Sequence[Fault]) -> Fault | None:
    """Return the fault to be told: one that goes on before one that has just ended."""
    return min(
        found,
        key=lambda one: (one.until_bucket is not None, ORDER.index(one.cause), one.from_bucket),
        default=None,
    )


def _say_since(fault: Fault, evidence: dict[str, float | str]) -> None:
    if fault.channel:
        evidence["channel"] = fault.channel
    evidence["since"] = rfc3339(fault.from_bucket * BUCKET_MS)
    if fault.until_bucket is not None:
        evidence["until"] = rfc3339(fault.until_bucket * BUCKET_MS)
