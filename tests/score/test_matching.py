"""Alerts and events: what counts as found, and what as right, on verdicts made by hand."""

from __future__ import annotations

import pytest

from underlid.journal.entries import Entry, LiquidAdded
from underlid.rules.finding import Condition
from underlid.score.events import Event, events_of
from underlid.score.matching import (
    FALSE,
    LATE,
    LEFT_OUT,
    RIGHT,
    Raised,
    finder_of,
    judge_alert,
    returned_too_soon,
    share_told,
)
from underlid.score.watched import Watched
from underlid.timeline import HOUR_MS

from .test_events import AT_MS, at, heat


def alert(
    raised_h: float,
    returned_h: float | None = None,
    forecast_h: float | None = None,
    condition: Condition = Condition.OVERHEATING,
) -> Raised:
    return Raised(
        condition,
        "",
        at(raised_h),
        None if forecast_h is None else at(forecast_h),
        "medium",
        "",
        "",
        {},
        (),
        "",
        returned_ms=None if returned_h is None else at(returned_h),
    )


def event() -> Event:
    return events_of(heat((40, 48, 2.0)), AT_MS)[0]


@pytest.mark.parametrize(
    ("one", "found"),
    [
        (alert(40.5), True),
        (alert(42.3), True),
        (alert(42.5), False),
        (alert(20.0, 30.0), True),
        (alert(-40.0, -35.0), False),
        (alert(-40.0), True),
        (alert(41.0, condition=Condition.TOO_COLD), False),
    ],
)
def test_an_event_is_found_by_an_alert_in_its_window(one: Raised, found: bool) -> None:
    assert (finder_of(event(), [one]) is one) is found


def test_the_alert_that_is_open_at_the_start_comes_first() -> None:
    early, opened, after = alert(10.0, 12.0), alert(30.0), alert(40.5)
    assert finder_of(event(), [early, opened, after]) is opened
    assert finder_of(event(), [early, after]) is after


def verdict(one: Raised, watched: Watched | None = None, entries: tuple[Entry, ...] = ()) -> str:
    return judge_alert(one, watched or heat((40, 48, 2.0)), AT_MS, entries)[0]


def test_a_report_is_right_when_the_truth_is_in_the_grey_zone_or_beyond() -> None:
    assert verdict(alert(41.0)) == RIGHT
    assert verdict(alert(38.1)) == RIGHT
    assert verdict(alert(30.0)) == RIGHT
    assert verdict(alert(30.0, 35.0)) == FALSE
    assert verdict(alert(27.0)) == FALSE
    assert verdict(alert(52.0)) == FALSE
    assert verdict(alert(41.0), heat((40, 48, -0.6))) == RIGHT
    assert verdict(alert(41.0), heat((40, 48, -0.8))) == FALSE


def test_a_forecast_is_right_when_it_comes_in_time() -> None:
    assert verdict(alert(28.0, forecast_h=38.0)) == RIGHT
    assert verdict(alert(10.0, 39.0, forecast_h=18.0)) == FALSE
    late = judge_alert(alert(10.0, forecast_h=18.0), heat((40, 48, 2.0)), AT_MS, ())
    assert late == (RIGHT, f"{LATE} 30.0 h")
    assert verdict(alert(60.0, forecast_h=80.0)) == LEFT_OUT


def test_a_forecast_whose_cause_the_keeper_took_away_is_left_out() -> None:
    watered = Entry("e", "bin", at(31.0), at(31.0), LiquidAdded(500.0))
    assert verdict(alert(30.0, forecast_h=34.0), heat(), (watered,)) == LEFT_OUT
    assert verdict(alert(30.0, forecast_h=34.0), heat()) == FALSE
    assert verdict(alert(28.0, forecast_h=38.0), entries=(watered,)) == LEFT_OUT


def test_leads_are_counted_to_the_limit() -> None:
    assert (event().start_ms - alert(28.0).at_ms) / HOUR_MS == pytest.approx(12.0)


def test_what_is_told_of_an_event_is_the_time_with_an_open_alert_after_the_deadline() -> None:
    watched = heat((40, 50, 2.0))
    (one,) = events_of(watched, AT_MS)
    hours = 50.0 - 42.0 - 20 / 60
    assert share_told(one, [alert(40.0)], watched, AT_MS) == 1.0
    assert share_told(one, [alert(40.0, 46.0)], watched, AT_MS) == pytest.approx(
        1.0 - 4.0 / hours, abs=0.02
    )
    assert share_told(one, [], watched, AT_MS) == 0.0


def test_an_alert_that_returns_while_the_bin_is_beyond_doubt_returned_too_soon() -> None:
    watched = heat((40, 50, 2.0), (50, 60, 0.3))
    assert returned_too_soon(alert(40.0, 46.0), watched, AT_MS)
    assert not returned_too_soon(alert(40.0, 52.0), watched, AT_MS)
    assert not returned_too_soon(alert(40.0), watched, AT_MS)
