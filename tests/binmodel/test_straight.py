"""A soil probe that drifts beside a feed, and water that nobody wrote down: which goes straight?"""

from __future__ import annotations

import numpy as np
import pytest

from binmodel.faulty import FROM_H, START_MS, Floats, causes, healthy, watched
from underlid.binmodel.faults.fault import Cause
from underlid.journal.entries import Entry, Feed, Portion
from underlid.timeline import HOUR_MS

RAW_PER_PCT = 1600.0 / 72.0
AT_MS = START_MS + round((FROM_H + 8.0) * HOUR_MS)
FED = Entry("f", "tansy", AT_MS, AT_MS, Feed((Portion("melon", 4000.0),)))


def juice_pct(hours: Floats, most_pct: float, per_d: float) -> Floats:
    return most_pct * (1.0 - np.exp(-per_d * np.maximum(hours - FROM_H - 8.0, 0.0) / 24.0))


@pytest.mark.parametrize("pct_d", [4.5, -6.0])
@pytest.mark.parametrize("step_min", [5, 15])
def test_a_soil_probe_that_drifts_is_told_within_two_days_though_a_feed_gives_water(
    pct_d: float, step_min: float
) -> None:
    def wetter(hours: Floats, values: Floats) -> Floats:
        off_pct = pct_d * np.maximum(hours - FROM_H, 0.0) / 24.0
        return values - RAW_PER_PCT * (off_pct + juice_pct(hours, 4.0, 1.5))

    drifts = healthy(6, step_min).change("soil_raw", wetter)
    _, told = watched(drifts, entries=[FED])
    assert causes(told) == {("soil_raw", Cause.DRIFT)}
    assert told[0][0] <= FROM_H + 46


@pytest.mark.parametrize("per_d", [0.7, 1.5, 4.0])
@pytest.mark.parametrize("entries", [[FED], []])
def test_water_that_comes_fast_first_and_ever_slower_is_no_drift(
    per_d: float, entries: list[Entry]
) -> None:
    def wetter(hours: Floats, values: Floats) -> Floats:
        return values - RAW_PER_PCT * juice_pct(hours, 7.0, per_d)

    told = watched(healthy(8, 15).change("soil_raw", wetter), entries=entries)[1]
    assert ("soil_raw", Cause.DRIFT) not in causes(told)


def test_water_that_was_poured_in_unwritten_and_runs_off_is_no_drift() -> None:
    def poured(hours: Floats, values: Floats) -> Floats:
        since_d = np.maximum(hours - FROM_H, 0.0) / 24.0
        left = np.minimum(since_d * 6.0, 1.0) * (0.3 + 0.7 * np.exp(-since_d / 1.5))
        return values - RAW_PER_PCT * 10.0 * left

    told = watched(healthy(8, 15).change("soil_raw", poured))[1]
    assert ("soil_raw", Cause.DRIFT) not in causes(told)
