"""The scenario is the same for the same seed, however it is cut, and causes every kind of alert."""

from __future__ import annotations

import pytest

from underlid.errors import UnderlidError
from underlid.replay import replay
from underlid.rules.finding import Condition
from underlid.simulate import scenario
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

OPENING_MS = 1_790_000_000_000 // HOUR_MS * HOUR_MS
QUARTER_MS = 15 * MINUTE_MS
"""Judged less often than live: three times as fast, and no alert is lost by it."""


def test_the_same_seed_gives_the_same_place_however_it_is_cut() -> None:
    whole = scenario.place(OPENING_MS, 1, seed=5).run(OPENING_MS + DAY_MS)
    cut = scenario.place(OPENING_MS, 1, seed=5)
    parts = [cut.run(OPENING_MS - DAY_MS + hours * HOUR_MS) for hours in (1, 7, 30, 48)]
    assert [one for part in parts for one in part.readings] == whole.readings
    assert [one for part in parts for one in part.entries] == whole.entries
    assert [one for part in parts for one in part.truths] == whole.truths
    other = scenario.place(OPENING_MS, 1, seed=6).run(OPENING_MS)
    assert other.readings[:50] != whole.readings[:50]


def test_every_kind_of_alert_has_its_cause_within_100_hours() -> None:
    place = scenario.place(OPENING_MS, 21, every_ms=10 * MINUTE_MS)
    place.run(OPENING_MS - 9 * DAY_MS)
    before = place.run(OPENING_MS)
    after = place.run(OPENING_MS + 100 * HOUR_MS)
    raised = {
        (alert.condition, alert.cause if alert.condition is not Condition.CONDENSATION else "")
        for judgement in replay(
            place.setup,
            before.readings + after.readings,
            before.entries + after.entries,
            tick_ms=QUARTER_MS,
        )
        if judgement.at_ms > OPENING_MS  # drying out is said days ahead, and may be open already
        for alert in judgement.alerts
        if alert.raised_at_ms is not None
    }
    assert {
        (Condition.CONDENSATION, ""),
        (Condition.OVERHEATING, "feed"),
        (Condition.OVERHEATING, "room"),
        (Condition.DRYING_OUT, ""),
        (Condition.TOO_WET, ""),
        (Condition.TOO_COLD, ""),
        (Condition.PROBE_FAULT, "silent"),
    } <= raised


def test_calm_weeks_are_calm() -> None:
    place = scenario.place(OPENING_MS, 21, every_ms=10 * MINUTE_MS, bins=("tansy", "fennel"))
    calm = place.run(OPENING_MS)
    raised = [
        alert
        for judgement in replay(place.setup, calm.readings, calm.entries, tick_ms=QUARTER_MS)
        for alert in judgement.alerts
        if alert.raised_at_ms is not None
    ]
    assert raised == []


def test_probes_may_report_less_often_and_must_report_in_steps() -> None:
    often = scenario.place(OPENING_MS, 0, every_ms=MINUTE_MS, bins=("tansy",))
    seldom = scenario.place(OPENING_MS, 0, every_ms=10 * MINUTE_MS, bins=("tansy",))
    until_ms = OPENING_MS + 5 * HOUR_MS
    assert len(often.run(until_ms).readings) == 10 * len(seldom.run(until_ms).readings)
    with pytest.raises(UnderlidError, match="whole steps"):
        scenario.place(OPENING_MS, 0, every_ms=90_000)


def test_an_unknown_bin_is_refused() -> None:
    with pytest.raises(UnderlidError, match="'basil'"):
        scenario.setup(("basil",))
