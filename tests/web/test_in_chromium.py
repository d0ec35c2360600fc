"""The pages in a real browser: the way from first start to an acknowledged alert, live values,
accessibility, narrow screens, no scripts, and not one violation of the Content-Security-Policy.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from underlid.timeline import HOUR_MS
from waiting import wait_until
from web.browsing import Held, click_to, context_of, opened, says, serious_barriers, visit
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
HEAR = """() => {
  window.heard = 0;
  new EventSource("/api/v1/live").addEventListener("journal", () => { window.heard += 1; });
}"""


def test_from_first_start_to_an_acknowledged_alert(browser: Browser, tmp_path: Path) -> None:
    with (
        Household(tmp_path) as house,
        opened(browser, house, name="", timezone_id="Australia/Lord_Howe") as page,
    ):
        page.goto(f"{house.url}/")
        page.fill("#name", "Robin")
        page.fill("#passphrase", PASSPHRASE)
        page.fill("#again", PASSPHRASE)
        click_to(page, "text=Begin", house.url + "/")
        click_to(page, "text=Add your shed", "**/places/shed")
        expect(page.locator("#timezone")).to_have_value("Australia/Lord_Howe")
        page.fill("#name", "Potting shed")
        click_to(page, "main form button", "**/places/bin?*")
        page.fill("#name", "Tansy")
        page.select_option("#kind", "flow-through-bag")
        page.check("[name=species_eisenia-fetida]")
        click_to(page, "main form button", "**/probes?said=bin")

        keeper = program(house, "keeper")
        posted = "/api/v1/readings?shed=potting-shed&probe=t-1"
        keeper.post(posted, json={"bed_temp_c": 21.5, "soil_raw": 1800})
        click_to(page, "text=Give it a place", "**/probes/t-1")
        page.select_option("#where", "bin:tansy")
        page.fill("#depth_cm", "12")
        page.fill("#soil_dry_raw", "2750")
        page.fill("#soil_wet_raw", "1150")
        click_to(page, "main form button >> nth=0", "**/bin/tansy?said=placed")

        house.clock.set_ms(house.clock.now_ms() + 60_000)
        keeper.post(posted, json={"bed_temp_c": 27.5, "headspace_temp_c": 26.1})
        expect(page.locator('[data-now="bed_temp_c"]').first).to_contain_text("27.5")

        click_to(page, "text=Write a feed", "**/journal/write?*")
        page.select_option("#ingredient_1", "bread")
        page.fill("#mass_1", "1.2")
        page.check("[name=unit][value=kg]")
        click_to(page, "text=Write it down", "**/bin/tansy?said=entry")
        expect(page.locator(".mark.feed")).to_have_count(1)
        says(page, "1.2 kg bread")

        hot = {"probe": "t-1", "shed": "potting-shed", "bed_temp_c": 36.0, "headspace_temp_c": 31.0}
        house.live_through(house.clock.now_ms() + 2 * HOUR_MS, **hot)  # type: ignore[arg-type]
        click_to(page, "text=Acknowledge", "**said=acknowledged*")
        says(page, "Seen by Robin", ".alert >> nth=0")
        keeper.close()


def test_a_zone_chosen_before_the_scripts_are_there_stays(
    browser: Browser, lived: Household
) -> None:
    with opened(browser, lived, timezone_id="Australia/Lord_Howe") as page:
        scripts = Held(page, "**/page.js")
        page.goto(f"{lived.url}/places/shed", wait_until="commit")
        page.select_option("#timezone", "Asia/Kathmandu")
        scripts.route().continue_()
        page.wait_for_load_state()  # the scripts have run
        expect(page.locator("#timezone")).to_have_value("Asia/Kathmandu")


def test_what_happens_while_a_page_is_read_again_is_shown(
    browser: Browser, house: Household, ash: Visitor
) -> None:
    with opened(browser, house) as page, program(house, "keeper") as keeper:

        def note(words: str) -> None:
            entry = {"bin": "tansy", "kind": "note", "text": words}
            assert keeper.post("/api/v1/entries", json=entry).status_code == 201

        page.goto(f"{house.url}/journal")
        page.evaluate(HEAR)
        wait_until(lambda: house.hub.open_streams == 2)
        held = Held(page, "**/journal")
        note("before it is read")
        answer = held.route().fetch()
        note("while it is read")
        wait_until(lambda: page.evaluate("window.heard") == 2)
        held.route().fulfill(response=answer)
        says(page, "while it is read")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_has_a_serious_barrier(browser: Browser, lived: Household, scheme: str) -> None:
    with opened(browser, lived, color_scheme=scheme) as page:
        for path in PAGES:
            visit(page, lived.url + path)
            page.evaluate(
                "document.querySelectorAll('details').forEach((one) => { one.open = true; })"
            )
            assert serious_barriers(page) == [], path


def test_every_page_fits_a_screen_of_320_pixels(browser: Browser, lived: Household) -> None:
    with opened(browser, lived, wide=320) as page:
        for path in PAGES:
            visit(page, lived.url + path)
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
            visit(page, lived.url + path)
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
    context = context_of(browser, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{lived.url}/login")
    page.fill("#name", "Ash")
    page.fill("#passphrase", PASSPHRASE)
    click_to(page, "main form button", lived.url + "/")
    page.goto(f"{lived.url}/journal/write?bin=sorrel&kind=feed")
    page.select_option("#ingredient_1", "squash")
    page.fill("#mass_1", "700")
    click_to(page, "text=Write it down", "**/bin/sorrel?said=entry")
    says(page, "700 g squash")
    page.click("text=As a table, day by day")
    expect(page.locator("details[open] tbody tr").nth(6)).to_be_visible()
    context.close()


def test_a_message_that_cannot_be_used_shows_up_by_itself(
    browser: Browser, lived: Household
) -> None:
    with opened(browser, lived) as page, program(lived, "keeper") as keeper:
        page.goto(f"{lived.url}/probes")
        expect(page.locator("main")).not_to_contain_text("no number here")
        keeper.post("/api/v1/readings?shed=potting&probe=tansy-1", json={"text": "no number here"})
        says(page, "no number here")


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
