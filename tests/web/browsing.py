"""A real browser that looks at a household's pages, and in which nothing may go wrong."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from waiting import wait_until
from web.household import Household
from web.visiting import Visitor

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
WATCH = """
  window.violations = [];
  document.addEventListener("securitypolicyviolation", (event) =>
    window.violations.push(`${event.violatedDirective} ${event.blockedURI} ${event.sample}`));
"""


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
        visitor = Visitor(house)
        assert visitor.log_in(name).status_code == 303
        cookie = next(iter(visitor.client.cookies.jar))
        context.add_cookies([{"name": cookie.name, "value": cookie.value or "", "url": house.url}])
    yield page
    assert page.evaluate("window.violations ?? []") == []
    assert wrong == []
    context.close()


def bin_page(page: Page, house: Household, bin_id: str) -> None:
    """Go to a bin's page and wait for its curves.

    The page's policy forbids Playwright's own way of waiting for what a function says (eval).
    """
    page.goto(f"{house.url}/bin/{bin_id}")
    wait_until(lambda: page.locator("[data-chart] .line").count())


def serious_barriers(page: Page) -> list[tuple[str, str]]:
    """Return what keeps people from using the page as it stands: the rule and the first element."""
    return [
        (one["id"], one["nodes"][0]["html"][:200])
        for one in Axe().run(page).response["violations"]
        if one["impact"] in ("serious", "critical")
    ]
