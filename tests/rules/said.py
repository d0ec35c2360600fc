"""One finding at the end of a hand-made history, for the tests of the rules."""

from __future__ import annotations

from collections.abc import Sequence

from judge.series import START_MS, Curve, readings, setup
from underlid.binmodel.bins import Setup
from underlid.journal.entries import Entry
from underlid.judge import Judge
from underlid.rules.finding import Condition, Finding, Verdict
from underlid.timeline import HOUR_MS

HOLDS, CLEAR, UNKNOWN = Verdict.HOLDS, Verdict.CLEAR, Verdict.UNKNOWN


def said(
    condition: Condition,
    bin_curve: Curve,
    air_curve: Curve,
    hours: float,
    entries: Sequence[Entry] = (),
    place: Setup | None = None,
    every_min: int = 5,
) -> Finding:
    """Return the finding of one judgement at the end of a history."""
    judge = Judge(place or setup(), START_MS)
    judge.set_entries("tansy", entries)
    judge.add_readings(readings(bin_curve, air_curve, hours, every_min))
    judgement = judge.judge(START_MS + round(hours * HOUR_MS))[0]
    return next(one for one in judgement.findings if one.condition is condition and not one.subject)


def bin_of(**values: float) -> Curve:
    return lambda _hour: dict(values)


def air_of(shed_temp_c: float) -> Curve:
    return lambda _hour: {"shed_temp_c": shed_temp_c}


def nothing(_hour: float) -> None:
    return None
