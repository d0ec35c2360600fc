"""Who wrote down that the food has gone is not told so again a day later, but when days have passed."""

from __future__ import annotations

import pytest

from judge.series import entry
from rules.said import air_of, bin_of, said
from underlid.journal.entries import Feed, Portion, Sighting
from underlid.rules.finding import Condition, Priority


@pytest.mark.parametrize(("days", "priority"), [(11.5, Priority.LOW), (14.5, Priority.MEDIUM)])
def test_a_feed_seen_used_up_is_medium_three_days_after_that_look(
    days: float, priority: Priority
) -> None:
    fed = entry(24.0, Feed((Portion("vegetable-scraps", 800.0),)))
    gone = entry(24.0 * 11.0, Sighting(used_up=True), 9)
    curve = bin_of(bed_temp_c=20.0, soil_raw=1780.0)
    found = said(Condition.HUNGRY, curve, air_of(20.0), 24.0 * days, [fed, gone])
    assert (found.reason, found.priority) == ("seen used up", priority)
