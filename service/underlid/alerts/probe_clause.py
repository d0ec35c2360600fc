"""What the keeper is told of a probe: what it does, and what to look at."""

from __future__ import annotations

from typing import Final

from underlid.binmodel.faults.fault import SOILS
from underlid.rules.finding import Finding

CHANNEL_WORDS: Final = {
    "bed_temp_c": "bed temperature",
    "headspace_temp_c": "headspace temperature",
    "headspace_rh_pct": "headspace humidity",
    "lid_temp_c": "lid temperature",
    "shed_temp_c": "shed temperature",
    "shed_rh_pct": "shed humidity",
    "soil_raw": "soil moisture",
    "soil_index": "soil moisture",
    "moisture_pct": "moisture",
}

CLAUSES: Final = {
    "stuck": "has shown the same {what} for hours while others moved; look at its plug and cable",
    "spike": "jumps: single values of its {what} are far off; look at its plug and cable",
    "noise": "scatters: its {what} goes up and down as no bin does; look at its plug and cable",
    "drift": "drifts: its {what} has left what the other sensors and the days before explain; check it"
    " against another sensor",
    "moved": "made a step: its {what} changed faster than a bed can, and stayed; what it says is"
    " taken with the step off; see whether it is still where it was",
    "moved soil": "made a step: its {what} jumped between two readings, and stayed; see whether it was"
    " moved, or write down what water or work explains it; a weighed sample makes it count again",
    "pulled_out": "seems to lie in the air: its {what} is no longer the bed's; push it back in",
    "dropout": "loses most of its readings; look at its battery and its network",
    "nonsense": "sends values of {what} that no working sensor sends; look at its plug and cable",
}


GONE_S: Final = 48 * 3600.0
"""A probe so long silent may have been replaced by another one (our judgement)."""


def probe_clause(finding: Finding, name: str) -> str:
    """Return the clause for a probe of the bin *name* that is at fault."""
    probe = f"Probe {finding.subject} of {name}"
    if finding.cause == "silent":
        age_s = float(finding.evidence["age_s"])
        gone = ", or take it out of its place if it is there no more" if age_s >= GONE_S else ""
        return (
            f"{probe} has been silent for {_span(age_s)}; look at its battery and its network{gone}"
        )
    if finding.cause == "wrong_clock":
        off_s = float(finding.evidence["clock_off_s"])
        where = f"{_span(off_s)} behind" if off_s > 0 else "ahead"
        return f"{probe} has a clock that is {where}; set it right, or let the probe send no time"
    if finding.cause == "weak_battery":
        volts = float(finding.evidence["battery_v"])
        return (
            f"{probe} has a weak battery ({volts:.2f} V); charge it, or put a fresh one in, before"
            " the probe falls silent"
        )
    channel = str(finding.evidence.get("channel", "a channel"))
    what = CHANNEL_WORDS.get(channel, channel)
    moved_soil = finding.cause == "moved" and channel in SOILS
    clause = CLAUSES.get("moved soil" if moved_soil else finding.cause)
    if clause is not None:
        return f"{probe} {clause.format(what=what)}"
    return (
        f"{probe} sends values of {what} that no working sensor sends ({finding.reason}); look at its"
        " plug and cable"
    )


def _span(seconds: float) -> str:
    """Return a span of time in a few words.

    >>> _span(2700.0), _span(10_000.0), _span(300_000.0)
    ('45 minutes', '3 hours', '3 days')
    """
    hours = seconds / 3600.0
    if hours < 2.0:
        return f"{seconds / 60.0:.0f} minutes"
    return f"{hours:.0f} hours" if hours < 48.0 else f"{hours / 24.0:.0f} days"
