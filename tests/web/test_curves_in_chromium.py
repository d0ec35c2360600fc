"""A bin's curves in a real browser: keys, mouse, touch of what is foreseen, ticks of both axes."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, expect

from underlid.timeline import DAY_MS
from waiting import wait_until
from web.browsing import Held, curves_are_drawn, opened, says, visit
from web.household import NOW_MS, Household, program, week_before
from web.visiting import Visitor


def test_the_curves_are_read_moved_and_zoomed_by_keys(browser: Browser, lived: Household) -> None:
    with opened(browser, lived) as page:
        visit(page, f"{lived.url}/bin/tansy")
        picture = curves_are_drawn(page)
        expect(picture).to_have_attribute("aria-label", re.compile("From Fri 5 Jun"))
        picture.focus()
        for _ in range(6):  # Tansy's probe has been silent for two hours
            page.keyboard.press(",")
        says(page, "Bed 2", ".reading")
        first = page.inner_text(".reading")
        page.keyboard.press(",")
        expect(page.locator(".reading")).not_to_have_text(first)
        with page.expect_request("**/series?*"):
            for _ in range(6):
                page.keyboard.press("+")
        zoomed = picture.get_attribute("aria-label") or ""
        page.keyboard.press("ArrowLeft")
        expect(picture).not_to_have_attribute("aria-label", zoomed)
        page.keyboard.press("Home")
        assert page.evaluate("document.activeElement.closest('[data-chart]') !== null")


def test_the_curves_follow_a_dragging_mouse(browser: Browser, lived: Household) -> None:
    with opened(browser, lived, wide=1280) as page:
        visit(page, f"{lived.url}/bin/tansy")
        picture = curves_are_drawn(page)
        picture.scroll_into_view_if_needed()
        box = picture.bounding_box()
        assert box is not None
        label = picture.get_attribute("aria-label") or ""
        page.mouse.move(box["x"] + 600, box["y"] + 100)
        page.mouse.down()
        page.mouse.move(box["x"] + 900, box["y"] + 105, steps=8)
        page.mouse.up()
        expect(picture).not_to_have_attribute("aria-label", label)


def test_a_channel_of_ones_own_is_drawn_too(browser: Browser, lived: Household) -> None:
    with program(lived, "keeper") as keeper:
        path = "/api/v1/readings?shed=potting&probe=tansy-1"
        keeper.post(path, json={"ammonia_ppm": 3.5})
    lived.clock.set_ms(lived.clock.now_ms() + 60_000)
    with opened(browser, lived) as page:
        visit(page, f"{lived.url}/bin/tansy")
        says(page, "ammonia ppm", "[data-chart]")


def test_what_is_foreseen_is_drawn_apart_and_read_by_the_cursor(
    browser: Browser, lived: Household
) -> None:
    with opened(browser, lived, wide=1280) as page:
        visit(page, f"{lived.url}/bin/tansy")
        picture = curves_are_drawn(page)
        says(page, "what is foreseen", "#curves-title")
        expect(page.locator(".line.ahead.c-bed-temp-c")).to_have_attribute("d", re.compile("M"))
        expect(page.locator(".now").nth(1)).to_be_attached()
        expect(page.locator("svg text", has_text="foreseen").first).to_be_attached()
        picture.scroll_into_view_if_needed()
        box = picture.bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + box["width"] - 60, box["y"] + 100)
        says(page, "13 Jun", ".reading")
        says(page, "°C", ".legend >> nth=0")
        page.click("text=What is foreseen, as a table")
        expect(page.locator("details[open] tbody tr")).to_have_count(12)


def test_a_value_that_comes_while_a_range_is_fetched_stays(
    browser: Browser, house: Household, ash: Visitor
) -> None:
    house.readings.write(week_before(NOW_MS))
    with opened(browser, house) as page, program(house, "keeper") as keeper:
        visit(page, f"{house.url}/bin/tansy")
        wait_until(lambda: house.hub.open_streams == 1)
        held = Held(page, "**/series?*")
        page.click(".ranges button >> text=Day")
        answer = held.route().fetch().json()
        house.clock.set_ms(NOW_MS + 60_000)
        keeper.post("/api/v1/readings?shed=potting&probe=tansy-1", json={"bed_temp_c": 24.6})
        says(page, "24.6 °C", ".legend >> nth=0")
        air = answer["channels"]["shed_temp_c"]["mean"]
        answer["channels"]["shed_temp_c"]["mean"] = [11.1] * len(air)  # to be known again
        held.route().fulfill(json=answer)
        says(page, "11.1 °C", ".legend >> nth=0")
        assert "24.6 °C" in page.inner_text(".legend >> nth=0")


def test_the_levels_of_one_axis_have_the_same_decimals(browser: Browser, lived: Household) -> None:
    with opened(browser, lived) as page:
        page.goto(f"{lived.url}/login")
        for low, high, most, decimals, first in (
            (71.5, 72.5, 5, 1, 71.6),
            (10, 30, 4, 0, 10),
            (0, 0.1, 4, 2, 0),
            (0, 3000, 4, 0, 0),
        ):
            answer = page.evaluate(LEVELS, [low, high, most])
            assert (answer["decimals"], answer["found"][0]) == (decimals, first)


TICKS = """async ([ranges, zone]) => {
  const page = document.querySelector("script[type=module]").src;
  const { ticks } = await import(page.replace("page.js", "ticks.js"));
  return ranges.map(([from, until, most]) => ticks(from, until, most, zone));
}"""
LEVELS = """async ([low, high, most]) => {
  const page = document.querySelector("script[type=module]").src;
  const { levels } = await import(page.replace("page.js", "ticks.js"));
  return levels(low, high, most);
}"""
YEAR_MS = int(datetime(2026, 1, 1, tzinfo=UTC).timestamp() * 1000)
ZONES = (
    "Europe/London",
    "America/New_York",
    "Australia/Lord_Howe",
    "Asia/Kathmandu",
    "America/Havana",
)


@pytest.mark.parametrize("zone", ZONES)
def test_time_ticks_stand_on_the_wall_clock_over_clock_changes(
    browser: Browser, lived: Household, zone: str
) -> None:
    steps = [(2, 12, 3600, 1), (7, 10, 86_400, 13), (60, 9, 86_400, 13), (365, 12, 86_400, 13)]
    asked = [
        (YEAR_MS + start * DAY_MS, YEAR_MS + (start + days) * DAY_MS, most, whole)
        for days, most, whole, every in steps
        for start in range(0, 366, every)
    ]
    with opened(browser, lived) as page:
        page.goto(f"{lived.url}/login")
        answers = page.evaluate(TICKS, [[one[:3] for one in asked], zone])
    for (start_ms, end_ms, most, whole), ticks in zip(asked, answers, strict=True):
        assert 2 <= len(ticks) <= most + 1
        times = [tick["at"] for tick in ticks]
        assert times == sorted(set(times))
        assert start_ms <= times[0] <= times[-1] <= end_ms
        for tick in ticks:
            shown = datetime.fromtimestamp(tick["at"] / 1000, ZoneInfo(zone))
            seconds = shown.hour * 3600 + shown.minute * 60 + shown.second
            assert seconds % whole == 0, (tick, shown.isoformat())
            if end_ms - start_ms > 300 * DAY_MS:
                assert shown.day == 1, (tick, shown.isoformat())
