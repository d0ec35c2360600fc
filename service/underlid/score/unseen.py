"""Faults that no reading shows: nobody can be asked to find them.

A humidity sensor that sticks while it is saturated says what it would have said; a clock that is a minute
off changes nothing that is judged. What a fault changes is told by simulating the case once more without.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from underlid.readings.values import Reading
from underlid.simulate.families.catalogue import FAMILIES
from underlid.simulate.sensors import MAKES, Fault, FaultKind
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

CLOCK_MATTERS_MS: Final = 5 * MINUTE_MS
"""Nothing that is judged is finer than a bucket of five minutes."""

NOISES: Final = 4.0
"""A reading is changed when it differs by more than so many times the sensor's noise, and a step."""

CHANGED_SHARE: Final = 0.1
"""Share of the readings in the fault's time that it must change."""

SATURATED_PCT: Final = 99.5
"""A humidity sensor that sticks there is saturated, which need not be told."""

ASKED: Final = (FaultKind.STUCK, FaultKind.DRIFT, FaultKind.SPIKE)
"""The others change what they touch beyond doubt."""


def is_unseen(fault: Fault, family: str, number: int, readings: Sequence[Reading]) -> bool:
    """Tell whether a fault changed too little of a case's *readings* to be seen."""
    if fault.kind is FaultKind.WRONG_CLOCK:
        return abs(fault.size) * HOUR_MS < CLOCK_MATTERS_MS
    if fault.kind not in ASKED:
        return False
    sketch = FAMILIES[family](number)
    sketch.faults = []
    make = MAKES[fault.channel]
    least = NOISES * make.noise * sketch.worse + make.step
    healthy = {
        one.taken_at_ms: one.values[fault.channel]
        for one in sketch.place().run(min(fault.until_ms, sketch.end_ms)).readings
        if one.probe == fault.probe
    }
    during = {
        one.taken_at_ms: one.values[fault.channel]
        for one in readings
        if one.probe == fault.probe and fault.holds(one.taken_at_ms) and one.taken_at_ms in healthy
    }
    changed_ms = [at_ms for at_ms, said in during.items() if abs(said - healthy[at_ms]) > least]
    if fault.kind is FaultKind.SPIKE:
        return not (np.diff(changed_ms) <= DAY_MS).any()
    humid = fault.kind is FaultKind.STUCK and fault.channel.endswith("_rh_pct")
    saturated = humid and min(during.values(), default=100.0) >= SATURATED_PCT
    return saturated or len(changed_ms) < CHANGED_SHARE * len(during)
