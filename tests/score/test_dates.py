"""Dates of drying out against the truth: said, by the trend alone, and left out where somebody waters."""

from __future__ import annotations

import numpy as np
import pytest

from underlid.journal.entries import Entry, LiquidAdded
from underlid.rules.finding import Condition
from underlid.score.dates import SaidDate, dates
from underlid.score.watched import Watched
from underlid.timeline import DAY_MS, HOUR_MS

AT_MS = np.arange(0, 20 * DAY_MS, HOUR_MS, dtype=np.int64)
FALLS_PCT_D = 0.5
TOO_DRY_MS = 10 * DAY_MS


def watched() -> Watched:
    beyond = FALLS_PCT_D * (AT_MS - TOO_DRY_MS) / DAY_MS
    return Watched(Condition.DRYING_OUT, beyond, 2.0, 2.0)


def poured(at_ms: int) -> Entry:
    return Entry("one", "tansy", at_ms, at_ms, LiquidAdded(500.0))


def test_a_date_errs_by_its_level_and_the_trend_alone_does_not() -> None:
    # computed by hand: a level 1 point too low at 0.5 points a day says the date two days too soon
    said = [SaidDate(5 * DAY_MS, 8 * DAY_MS, -FALLS_PCT_D)]
    (found,) = dates(watched(), AT_MS, said, (), ())
    assert found.error == pytest.approx(-0.4)
    assert found.of_drying == pytest.approx(0.0, abs=0.01)


def test_where_no_date_was_said_the_trend_is_still_judged() -> None:
    (found,) = dates(watched(), AT_MS, [SaidDate(5 * DAY_MS, None, -0.4)], (), ())
    assert found.error is None
    assert found.of_drying == pytest.approx(0.25, abs=0.01)
    (nothing,) = dates(watched(), AT_MS, [SaidDate(5 * DAY_MS, None, None)], (), ())
    assert (nothing.error, nothing.of_drying) == (None, None)


def test_water_in_between_makes_another_date() -> None:
    said = [SaidDate(5 * DAY_MS, 10 * DAY_MS, -FALLS_PCT_D)]
    assert dates(watched(), AT_MS, said, [poured(7 * DAY_MS)], ()) == []
    assert dates(watched(), AT_MS, said, (), [7 * DAY_MS]) == []
    assert len(dates(watched(), AT_MS, said, [poured(4 * DAY_MS)], ())) == 1
