"""A real browser that looks at a household's pages, and in which nothing may go wrong.

A page is never as it will be at once: scripts run late, forms are answered late. So tests `expect` what a
page comes to say, and wait for the address to which a form or a link leads before they go on.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Locator, Page, Route, expect

from waiting import WAIT_S, wait_until
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

expect.set_options(timeout=WAIT_S * 1000)


def context_of(browser: Browser, **options: object) -> BrowserContext:
    """Return a window of its own, which waits as long as every test does."""
    context = browser.new_context(**options)  # type: ignore[arg-type]
    context.set_default_timeout(WAIT_S * 1000)
    return context


@contextmanager
def opened(
    browser: Browser, house: Household, *, wide: int = 390, name: str = "Ash", **options: object
) -> Iterator[Page]:
    """Give a page of a browser that is logged in; afterwards nothing may have gone wrong in it."""
    context = context_of(browser, viewport={"width": wide, "height": 844}, **options)
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
    assert not wrong, wrong
    context.close()


def visit(page: Page, url: str) -> None:
    """Go to a page and wait for its curves, if it has some."""
    page.goto(url)
    if page.locator("[data-chart]").count():
        curves_are_drawn(page)


def curves_are_drawn(page: Page) -> Locator:
    """Wait for a page's curves, and return what takes keys and fingers for them."""
    picture = page.locator("[data-chart] [role=application]")
    expect(picture).to_have_attribute("aria-label", re.compile("^From "))
    return picture


def click_to(page: Page, what: str, url: str) -> None:
    """Click on *what* and wait until the browser is at *url*, a glob."""
    page.click(what)
    page.wait_for_url(url)


def says(page: Page, words: str, where: str = "main") -> None:
    """Wait until a page says *words*."""
    expect(page.locator(where)).to_contain_text(words)


class Held:
    """Holds the first thing that a page asks for from an address (a glob) until the test lets it go."""

    def __init__(self, page: Page, url: str) -> None:
        self._page = page
        self._routes: list[Route] = []
        page.route(
            url, lambda route: route.continue_() if self._routes else self._routes.append(route)
        )

    def route(self) -> Route:
        """Wait until the page has asked, and return what is held."""
        wait_until(lambda: self._page.locator("body").count() >= 0 and self._routes)
        return self._routes[0]


def serious_barriers(page: Page) -> list[tuple[str, str]]:
    """Return what keeps people from using the page as it stands: the rule and the first element."""
    return [
        (one["id"], one["nodes"][0]["html"][:200])
        for one in Axe().run(page).response["violations"]
        if one["impact"] in ("serious", "critical")
    ]
