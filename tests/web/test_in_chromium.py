"""The pages in a real browser: the way from first start to an acknowledged alert, live values, curves,
accessibility, narrow screens, no scripts, and not one violation of the Content-Security-Policy.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from programs import require
from underlid.timeline import DAY_MS, HOUR_MS
from web.household import NOW_MS, PASSPHRASE, Household, Visitor, program, settled

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PAGES = (
    "/",
    "/bin/tansy",
    "/journal",
    "/journal/write?bin=tansy&kind=feed",
    "/journal/write?bin=tansy&kind=sighting",
    "/alerts",
    "/probes",
    "/probes/sorrel-1",
    "/places",
    "/places/bin",
    "/people",
)
WATCH = """
  window.violations = [];
  document.addEventListener("securitypolicyviolation", (event) =>
    window.violations.push(`${event.violatedDirective} ${event.blockedURI} ${event.sample}`));
"""
LIVE_WITHIN_S = 2.0


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    chromium = require("chromium")
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        yield launched
        launched.close()


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Household]:
    with settled(tmp_path_factory.mktemp("settled")) as (opened, _):
        feed = {"bin": "tansy", "kind": "feed", "ingredient": "melon:1500+bread:300"}
        with program(opened, "keeper") as keeper:
            keeper.post("/api/v1/entries", json=feed | {"time": str(NOW_MS / 1000 - 80 * 3600)})
            keeper.post("/api/v1/readings?shed=potting&probe=stray-1", json={"bed_temp_c": 20})
            keeper.post("/api/v1/readings?shed=potting&probe=stray-1", content=b"{oops")
        opened.live_through(
            NOW_MS + 2 * HOUR_MS, probe="sorrel-1", bed_temp_c=33.5, headspace_temp_c=30.0
        )
        yield opened


@contextmanager
def opened(
    browser: Browser, house: Household, *, wide: int = 390, name: str = "Ash", **options: object
) -> Iterator[Page]:
    """Give a page of a browser that is logged in; afterwards nothing may have gone wrong in it."""
    context = browser.new_context(viewport={"width": wide, "height": 844}, **options)
    page = context.new_page()
    page.add_init_script(WATCH)
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    if name:
        visitor = Visitor(house).log_in(name)
        cookie = next(iter(visitor.client.cookies.jar))
        context.add_cookies([{"name": cookie.name, "value": cookie.value or "", "url": house.url}])
    yield page
    assert page.evaluate("window.violations ?? []") == []
    assert wrong == []
    context.close()


def bin_page(page: Page, house: Household, bin_id: str) -> None:
    """Go to a bin's page and wait for its curves."""
    page.goto(f"{house.url}/bin/{bin_id}")
    until(lambda: page.locator("[data-chart] .line").count())


def until(holds: Callable[[], object], within_s: float = 5.0) -> None:
    """Wait until something holds; the page's policy forbids Playwright's own way (eval)."""
    end = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < end, "it did not happen in time"
        time.sleep(0.03)


def test_from_first_start_to_an_acknowledged_alert(browser: Browser, tmp_path: Path) -> None:
    with Household(tmp_path) as house, opened(browser, house, name="") as page:
        page.goto(f"{house.url}/")
        page.fill("#name", "Robin")
        page.fill("#passphrase", PASSPHRASE)
        page.fill("#again", PASSPHRASE)
        page.click("text=Begin")
        page.click("text=Add your shed")
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
        until(lambda: page.locator("text=Give it a place").count(), LIVE_WITHIN_S)
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
        until(lambda: "27.5" in (value.first.text_content() or ""), LIVE_WITHIN_S)

        page.click("text=Write a feed")
        page.select_option("#ingredient_1", "bread")
        page.fill("#mass_1", "1.2")
        page.check("[name=unit][value=kg]")
        page.click("text=Write it down")
        page.wait_for_url("**/bin/tansy?said=entry")
        until(lambda: page.locator(".mark.feed").count() == 1)
        assert "1.2 kg bread" in page.inner_text("main")

        hot = {"probe": "t-1", "shed": "potting-shed", "bed_temp_c": 36.0, "headspace_temp_c": 31.0}
        house.live_through(house.clock.now_ms() + 2 * HOUR_MS, **hot)  # type: ignore[arg-type]
        until(lambda: page.locator(".alert").count())
        page.click("text=Acknowledge")
        page.wait_for_url("**said=acknowledged*")
        assert "Seen by Robin" in page.inner_text(".alert >> nth=0")
        keeper.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_has_a_serious_barrier(browser: Browser, house: Household, scheme: str) -> None:
    with opened(browser, house, color_scheme=scheme) as page:
        for path in PAGES:
            page.goto(house.url + path)
            for details in page.locator("details").all():
                details.evaluate("(one) => { one.open = true; }")
            found = Axe().run(page).response["violations"]
            serious = [
                (one["id"], one["nodes"][0]["html"][:200])
                for one in found
                if one["impact"] in ("serious", "critical")
            ]
            assert serious == [], path


def test_every_page_fits_a_screen_of_320_pixels(browser: Browser, house: Household) -> None:
    with opened(browser, house, wide=320) as page:
        for path in PAGES:
            page.goto(house.url + path)
            assert page.evaluate("document.documentElement.scrollWidth") <= 320, path


def test_the_curves_are_read_moved_and_zoomed_by_keys(browser: Browser, house: Household) -> None:
    with opened(browser, house) as page:
        bin_page(page, house, "tansy")
        picture = page.locator("[data-chart] [role=application]")
        assert "From Fri 5 Jun" in (picture.get_attribute("aria-label") or "")
        picture.focus()
        for _ in range(6):  # Tansy's probe has been silent for two hours
            page.keyboard.press(",")
        until(lambda: "Bed 2" in page.inner_text(".reading"))
        first = page.inner_text(".reading")
        page.keyboard.press(",")
        until(lambda: page.inner_text(".reading") != first)
        with page.expect_request("**/series?*"):
            for _ in range(6):
                page.keyboard.press("+")
        label = picture.get_attribute("aria-label")
        page.keyboard.press("ArrowLeft")
        until(lambda: picture.get_attribute("aria-label") != label)
        page.keyboard.press("Home")
        assert page.evaluate("document.activeElement.closest('[data-chart]') !== null")


def test_the_curves_follow_a_dragging_mouse(browser: Browser, house: Household) -> None:
    with opened(browser, house, wide=1280) as page:
        bin_page(page, house, "tansy")
        picture = page.locator("[data-chart] [role=application]")
        picture.scroll_into_view_if_needed()
        box = picture.bounding_box()
        assert box is not None
        label = picture.get_attribute("aria-label")
        page.mouse.move(box["x"] + 600, box["y"] + 100)
        page.mouse.down()
        page.mouse.move(box["x"] + 900, box["y"] + 105, steps=8)
        page.mouse.up()
        until(lambda: picture.get_attribute("aria-label") != label)


def test_a_channel_of_ones_own_is_drawn_too(browser: Browser, house: Household) -> None:
    with program(house, "keeper") as keeper:
        path = "/api/v1/readings?shed=potting&probe=tansy-1"
        keeper.post(path, json={"ammonia_ppm": 3.5})
    house.clock.set_ms(house.clock.now_ms() + 60_000)
    with opened(browser, house) as page:
        bin_page(page, house, "tansy")
        assert "ammonia ppm" in page.inner_text("[data-chart]")


def test_without_scripts_everything_can_be_read_and_written(
    browser: Browser, house: Household
) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{house.url}/login")
    page.fill("#name", "Ash")
    page.fill("#passphrase", PASSPHRASE)
    page.click("main form button")
    page.goto(f"{house.url}/journal/write?bin=sorrel&kind=feed")
    page.select_option("#ingredient_1", "squash")
    page.fill("#mass_1", "700")
    page.click("text=Write it down")
    assert "700 g squash" in page.inner_text("main")
    page.click("text=As a table, day by day")
    assert page.locator("table tbody tr").count() >= 7
    context.close()


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
    browser: Browser, house: Household, zone: str
) -> None:
    steps = [(2, 12, 3600, 1), (7, 10, 86_400, 13), (60, 9, 86_400, 13), (365, 12, 86_400, 13)]
    asked = [
        (YEAR_MS + start * DAY_MS, YEAR_MS + (start + days) * DAY_MS, most, whole)
        for days, most, whole, every in steps
        for start in range(0, 366, every)
    ]
    with opened(browser, house) as page:
        page.goto(f"{house.url}/login")
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


def test_a_message_that_cannot_be_used_shows_up_by_itself(
    browser: Browser, house: Household
) -> None:
    with opened(browser, house) as page, program(house, "keeper") as keeper:
        page.goto(f"{house.url}/probes")
        assert "no number here" not in page.inner_text("main")
        keeper.post("/api/v1/readings?shed=potting&probe=tansy-1", json={"text": "no number here"})
        until(lambda: "no number here" in page.inner_text("main"), LIVE_WITHIN_S)


def test_the_levels_of_one_axis_have_the_same_decimals(browser: Browser, house: Household) -> None:
    with opened(browser, house) as page:
        page.goto(f"{house.url}/login")
        for low, high, most, decimals, first in (
            (71.5, 72.5, 5, 1, 71.6),
            (10, 30, 4, 0, 10),
            (0, 0.1, 4, 2, 0),
            (0, 3000, 4, 0, 0),
        ):
            answer = page.evaluate(LEVELS, [low, high, most])
            assert (answer["decimals"], answer["found"][0]) == (decimals, first)


def test_a_stream_ends_with_the_page_and_with_the_service(browser: Browser, tmp_path: Path) -> None:
    with Household(tmp_path) as house:
        house.settle_in()
        Visitor(house).begin()
        with opened(browser, house) as page:
            page.goto(f"{house.url}/")
            until(lambda: house.hub.open_streams == 1)
            page.goto(f"{house.url}/journal")
            until(lambda: house.hub.open_streams == 1)
            page.goto("about:blank")
            until(lambda: house.hub.open_streams == 0)
        with Visitor(house).log_in("Ash").client.stream("GET", "/api/v1/live") as stream:
            began = time.monotonic()
            house.hub.close()
            assert stream.read().startswith(b"retry:")
            assert time.monotonic() - began < 2
