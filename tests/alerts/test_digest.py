"""The daily digest: what it says, when it says nothing, and its hour where clocks are changed."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from alerts.test_again import ALERT, TANSY
from underlid.alerts.alert import AlertState
from underlid.alerts.digest import BINS_MOST, BinDay, digest, last_moment_ms
from underlid.journal.entries import Entry, Feed, Portion
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS, parse_time_ms

LONDON = ZoneInfo("Europe/London")
NOW_MS = parse_time_ms("2026-06-12T07:00:00+01:00")
OPEN = replace(ALERT, raised_at_ms=NOW_MS - 2 * DAY_MS)


@pytest.mark.parametrize(
    ("hour", "now", "moment"),
    [
        (7, "2026-06-12T06:59:59+01:00", "2026-06-11T07:00:00+01:00"),
        (7, "2026-06-12T07:00:00+01:00", "2026-06-12T07:00:00+01:00"),
        (1, "2026-10-25T00:30:00Z", "2026-10-25T00:00:00Z"),  # 01:30, the first time
        (1, "2026-10-25T01:30:00Z", "2026-10-25T00:00:00Z"),  # 01:30 again
        (1, "2026-03-29T01:30:00Z", "2026-03-29T01:00:00Z"),  # there is no 01:00
        (0, "2026-06-12T00:00:00+01:00", "2026-06-12T00:00:00+01:00"),
    ],
)
def test_its_hour_comes_once_a_day_also_where_clocks_are_changed(
    hour: int, now: str, moment: str
) -> None:
    assert last_moment_ms(hour, parse_time_ms(now), LONDON) == parse_time_ms(moment)


def test_over_a_year_every_day_has_one_digest() -> None:
    for hour in (1, 2, 7):
        start_ms = parse_time_ms("2026-01-01T00:00:00Z")
        found = {
            last_moment_ms(hour, start_ms + step * 30 * MINUTE_MS, LONDON)
            for step in range(365 * 48)
        }
        assert len(found) == 366  # and that of the day before


def test_it_says_what_is_open_what_came_and_went_and_what_is_due() -> None:
    gone = replace(OPEN, state=AlertState.RETURNED, returned_at_ms=NOW_MS - 9 * HOUR_MS)
    fed_ms = NOW_MS - 8 * DAY_MS
    feed = Entry("f", "tansy", fed_ms, fed_ms, Feed((Portion("melon", 3200.0),)))
    seen = replace(OPEN, acknowledged_at_ms=NOW_MS, acknowledged_by="Ash")
    day = BinDay(TANSY, (seen, gone), NOW_MS - 1, "Feed at most 400 g.", feed, None, 7.4)
    told = digest([day], NOW_MS, LONDON)
    assert told == (
        "Underlid today: 1 open, 1 over, 2 due",
        "Open:\n"
        "- Tansy's bed is at 31 °C (high, for more than a day, seen by Ash)\n\n"
        "Came and went:\n"
        "- Tansy: no longer too warm, since 22:00\n\n"
        "Due:\n"
        "- Tansy: its next feed is due now. Feed at most 400 g.\n"
        "- Tansy: 3.2 kg melon went in 8 days ago and nobody has looked since. Lift the cover and"
        " write down what is left.\n"
        "- Tansy: its moisture is known to ± 7 points only. Weigh a sample.",
    )
    looked = digest(
        [replace(day, alerts=(), feed_due_ms=None, last_look_ms=NOW_MS)], NOW_MS, LONDON
    )
    assert looked is None


def test_a_quiet_day_says_nothing_and_a_hundred_bins_not_everything() -> None:
    assert digest([BinDay(TANSY, moisture_sd_pct=9.0)], NOW_MS, LONDON) is None
    pending = replace(OPEN, raised_at_ms=None)
    shelved = replace(OPEN, shelved_until_ms=NOW_MS + 1)
    assert digest([BinDay(TANSY, (pending, shelved))], NOW_MS, LONDON) is None
    told = digest([BinDay(TANSY, (OPEN,))] * 100, NOW_MS, LONDON)
    assert told is not None
    assert told[1].count("\n") == BINS_MOST + 1
    assert "and 60 more, on the page" in told[1]
