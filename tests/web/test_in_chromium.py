"""The pages in a real browser: the way from first start to an acknowledged alert, live values,
accessibility, narrow screens, no scripts, and not one violation of the Content-Security-Policy.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from underlid.timeline import HOUR_MS
from waiting import wait_until
from web.browsing import opened, serious_barriers
from web.household import Household, program
from web.visiting import PASSPHRASE, Visitor, begin

PAGES = (
    "/",
    "/bin/tansy",
    "/bin/tansy/back",
    "/bin/tansy/wall",
    "/bucket?ingredient_1=melon&mass_1=900&into=",
    "/journal",
    "/journal/write?bin=tansy&kind=feed",
    "/journal/write?bin=tansy&kind=sighting",
    "/alerts",
    "/probes",
    "/probes/sorrel-1",
    "/mappings",
    "/mapping",
    "/places",
    "/places/bin",
    "/people",
    "/refused",
)


def test_from_first_start_to_an_acknowledged_alert(browser: Browser, tmp_path: Path) -> None:
    with (
        Household(tmp_path) as house,
        opened(browser, house, name="", timezone_id="Australia/Lord_Howe") as page,
    ):
        page.goto(f"{house.url}/")
        page.fill("#name", "Robin")
        page.fill("#passphrase", PASSPHRASE)
        page.fill("#again", PASSPHRASE)
        page.click("text=Begin")
        page.click("text=Add your shed")
        assert page.input_value("#timezone") == "Australia/Lord_Howe"
        page.fill("#name", "Potting shed")
        page.click("main form button")
        page.fill("#name", "Tansy")
        page.select_option("#kind", "flow-through-bag")
        page.check("[name=species_eisenia-fetida]")
        page.click("main form button")
        page.wait_for_url("**/probes?said=bin")

        keeper = program(house, "keeper")
        posted = "/api/v1/readings?shed=potting-shed&probe=t-1"
        keeper.post(posted, json={"bed_temp_c": 21.5, "soil_raw": 1800})
        wait_until(lambda: page.locator("text=Give it a place").count())
        page.click("text=Give it a place")
        page.select_option("#where", "bin:tansy")
        page.fill("#depth_cm", "12")
        page.fill("#soil_dry_raw", "2750")
        page.fill("#soil_wet_raw", "1150")
        page.click("main form button >> nth=0")
        page.wait_for_url("**/bin/tansy?said=placed")

        house.clock.set_ms(house.clock.now_ms() + 60_000)
        keeper.post(posted, json={"bed_temp_c": 27.5, "headspace_temp_c": 26.1})
        value = page.locator('[data-now="bed_temp_c"]')
        wait_until(lambda: "27.5" in (value.first.text_content() or ""))

        page.click("text=Write a feed")
        page.select_option("#ingredient_1", "bread")
        page.fill("#mass_1", "1.2")
        page.check("[name=unit][value=kg]")
        page.click("text=Write it down")
        page.wait_for_url("**/bin/tansy?said=entry")
        wait_until(lambda: page.locator(".mark.feed").count() == 1)
        assert "1.2 kg bread" in page.inner_text("main")

        hot = {"probe": "t-1", "shed": "potting-shed", "bed_temp_c": 36.0, "headspace_temp_c": 31.0}
        house.live_through(house.clock.now_ms() + 2 * HOUR_MS, **hot)  # type: ignore[arg-type]
        wait_until(lambda: page.locator(".alert").count())
        page.click("text=Acknowledge")
        page.wait_for_url("**said=acknowledged*")
        assert "Seen by Robin" in page.inner_text(".alert >> nth=0")
        keeper.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_has_a_serious_barrier(browser: Browser, lived: Household, scheme: str) -> None:
    with opened(browser, lived, color_scheme=scheme) as page:
        for path in PAGES:
            page.goto(lived.url + path)
            for details in page.locator("details").all():
                details.evaluate("(one) => { one.open = true; }")
            assert serious_barriers(page) == [], path


def test_every_page_fits_a_screen_of_320_pixels(browser: Browser, lived: Household) -> None:
    with opened(browser, lived, wide=320) as page:
        for path in PAGES:
            page.goto(lived.url + path)
            assert page.evaluate("document.documentElement.scrollWidth") <= 320, path


def test_a_finger_finds_everything_it_may_press(browser: Browser, lived: Household) -> None:
    small = """() => [...document.querySelectorAll("a, button, select, summary, textarea,"
      + "input:not([type=hidden], [type=checkbox], [type=radio])")].filter((one) => {
        const { width, height } = one.getBoundingClientRect();
        return width && height && height < 43.9 && !one.closest("p:not(.acts, .ranges), small, .skip")
          && one.className !== "skip";
      }).map((one) => one.outerHTML.slice(0, 120))"""
    with opened(browser, lived, has_touch=True, is_mobile=True) as page:
        for path in PAGES:
            page.goto(lived.url + path)
            assert page.evaluate(small) == [], path
        page.goto(f"{lived.url}/journal/write?bin=tansy&kind=note")
        for kind in page.locator(".kinds a").all():
            box = kind.bounding_box()
            assert box is not None
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= 390


def test_without_scripts_everything_can_be_read_and_written(
    browser: Browser, lived: Household
) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{lived.url}/login")
    page.fill("#name", "Ash")
    page.fill("#passphrase", PASSPHRASE)
    page.click("main form button")
    page.goto(f"{lived.url}/journal/write?bin=sorrel&kind=feed")
    page.select_option("#ingredient_1", "squash")
    page.fill("#mass_1", "700")
    page.click("text=Write it down")
    assert "700 g squash" in page.inner_text("main")
    page.click("text=As a table, day by day")
    assert page.locator("table tbody tr").count() >= 7
    context.close()


def test_a_message_that_cannot_be_used_shows_up_by_itself(
    browser: Browser, lived: Household
) -> None:
    with opened(browser, lived) as page, program(lived, "keeper") as keeper:
        page.goto(f"{lived.url}/probes")
        assert "no number here" not in page.inner_text("main")
        keeper.post("/api/v1/readings?shed=potting&probe=tansy-1", json={"text": "no number here"})
        wait_until(lambda: "no number here" in page.inner_text("main"))


def test_a_stream_ends_with_the_page_and_with_the_service(browser: Browser, tmp_path: Path) -> None:
    with Household(tmp_path) as house:
        house.settle_in()
        begin(house)
        with opened(browser, house) as page:
            page.goto(f"{house.url}/")
            wait_until(lambda: house.hub.open_streams == 1)
            page.goto(f"{house.url}/journal")
            wait_until(lambda: house.hub.open_streams == 1)
            page.goto("about:blank")
            wait_until(lambda: house.hub.open_streams == 0)
        visitor = Visitor(house)
        visitor.log_in()
        with visitor.client.stream("GET", "/api/v1/live") as stream:
            house.hub.close()
            wait_until(lambda: house.hub.open_streams == 0)
            assert stream.read().startswith(b"retry:")
