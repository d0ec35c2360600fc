"""Being told in a browser: one press, a message as only it can read it, the notification, the bin.

What a browser's maker runs is the hand-written push service of `notify.push_service`: Chromium's own
subscribing is led there, and what came there is handed to its worker as Chromium would.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from notify.messages import TOLD
from notify.push_service import PushedBrowser, PushService, encoded, push_service
from notify.test_addresses import ALERT
from programs import require
from underlid.clock import VirtualClock
from underlid.config import Settings
from underlid.notify.addresses import RouteChannels, hint_of
from underlid.notify.outbox import Courier
from underlid.notify.push_keys import PushKeys
from underlid.storage.records import Role
from waiting import WAIT_S, wait_until
from web.browsing import FLAGS, click_to, opened, says, serious_barriers
from web.household import Household
from web.visiting import PASSPHRASE, Visitor, begin, join

PAGE = "/people/told"
BUTTON = "text=Tell me in this browser"

SUBSCRIBES = """
  const {endpoint, p256dh, auth} = GIVEN;
  const raw = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")),
    (letter) => letter.charCodeAt(0)).buffer;
  const key = () => localStorage.getItem("subscribed");
  const subscription = () => ({endpoint, getKey: (name) => raw({p256dh, auth}[name]),
    options: {applicationServerKey: raw(key())},
    unsubscribe: async () => (localStorage.removeItem("subscribed"), true)});
  PushManager.prototype.getSubscription = async () => key() ? subscription() : null;
  PushManager.prototype.subscribe = async ({userVisibleOnly, applicationServerKey}) => {
    if (!userVisibleOnly || applicationServerKey.length !== 65) throw new Error("not as it should be");
    localStorage.setItem("subscribed", btoa(String.fromCharCode(...applicationServerKey))
      .replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", ""));
    return subscription();
  };
"""


@pytest.fixture
def service() -> Iterator[PushService]:
    with push_service() as started:
        yield started


@pytest.fixture
def house(tmp_path: Path, service: PushService) -> Iterator[Household]:
    """A household to which the push service counts as one on the internet."""
    with Household(tmp_path) as opened_house:
        opened_house.settle_in()
        opened_house.app.state.context = replace(
            opened_house.context,
            hint_of=lambda one: hint_of(one, Settings(), service.outside),
            push_key=PushKeys(opened_house.records).public,
        )
        yield opened_house


@pytest.fixture
def courier(house: Household, service: PushService) -> Iterator[Courier]:
    """A courier that works, as in the service."""
    routes = RouteChannels(house.records, Settings(), service.outside)
    started = Courier(house.records, [], VirtualClock(9**14), routes=routes)
    house.app.state.context = replace(house.app.state.context, wake_courier=started.wake)
    started.start()
    yield started
    started.stop()


def leads_to(page: Page, browser: PushedBrowser) -> None:
    """Lead the browser's own subscribing to the push service of the test."""
    given = {"endpoint": browser.endpoint, "p256dh": browser.key, "auth": encoded(browser.secret)}
    page.add_init_script("{" + SUBSCRIBES.replace("GIVEN", json.dumps(given)) + "}")


def allow(context: BrowserContext, house: Household) -> None:
    context.grant_permissions(["notifications"], origin=house.url)


SAID = "[data-push-said]"


@pytest.mark.parametrize("wide", [390, 1280])
def test_one_press_and_alerts_come_as_notifications_that_open_the_bin(
    browser: Browser, house: Household, service: PushService, courier: Courier, wide: int
) -> None:
    begin(house)
    phone = service.browser()
    with opened(browser, house, wide=wide) as page:
        allow(page.context, house)
        leads_to(page, phone)
        page.goto(f"{house.url}/people")
        click_to(page, "text=See and change them", "**/people/told*")
        assert serious_barriers(page) == []
        click_to(page, BUTTON, "**said=route")
        says(page, "You are told in this browser.", SAID)
        says(page, "It is this browser.")
        says(page, "a browser, by localhost")
        expect(page.locator(BUTTON)).to_be_hidden()
        assert serious_barriers(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= wide

        house.records.save_judgement([ALERT], [], [TOLD], [])
        courier.wake()
        wait_until(lambda: service.pushed)
        shown = _delivered(page, house, phone.read(service.pushed[0].body))
        assert shown == [[TOLD.title, TOLD.text, TOLD.alert_id]]
        worse = phone.read(service.pushed[0].body) | {"id": "worse", "text": "Wipe the lid."}
        assert _delivered(page, house, worse) == [[TOLD.title, "Wipe the lid.", TOLD.alert_id]]
        assert _pressed(page) == [f"{house.url}/bin/tansy"]
        assert _notifications(page) == []
        text = "There is news. Open the page to see it."
        assert _delivered(page, house, None) == [["Underlid", text, ""]]

        page.click("text=Remove it")
        says(page, "No address yet.")
        expect(page.locator(BUTTON)).to_be_visible()
        assert page.evaluate("localStorage.getItem('subscribed')") is None


def test_a_subscription_that_has_ended_is_said_where_it_was_tried(
    browser: Browser, house: Household, service: PushService, courier: Courier
) -> None:
    begin(house)
    with opened(browser, house) as page:
        allow(page.context, house)
        leads_to(page, service.browser())
        page.goto(f"{house.url}{PAGE}")
        click_to(page, BUTTON, "**said=route")
        service.status = 410
        page.click("text=Send a test message")
        says(page, "The browser has ended its subscription; the address was removed.")
        service.status = 201
        page.click(BUTTON)  # it can be told again at once
        says(page, "You are told in this browser.", SAID)
        assert len(house.records.routes()) == 1


def test_a_browser_that_may_not_says_so(browser: Browser, house: Household) -> None:
    begin(house)
    with opened(browser, house) as page:
        page.goto(f"{house.url}{PAGE}")
        page.click(BUTTON)  # nobody is there who could allow it
        says(page, "show no notifications of this page", SAID)
        expect(page.locator(BUTTON)).to_be_hidden()


def test_a_browser_whose_push_service_does_not_answer_says_so(
    browser: Browser, house: Household, tmp_path: Path
) -> None:
    """Chromium itself is asked, not in a private window, and has no way to its maker's push service."""
    begin(house)
    context = browser.browser_type.launch_persistent_context(
        tmp_path / "profile", executable_path=require("chromium"), args=FLAGS
    )
    with contextlib.closing(context):
        context.set_default_timeout(WAIT_S * 1000)
        allow(context, house)
        page = context.new_page()
        page.clock.install()
        page.goto(f"{house.url}/login?to={PAGE}")
        _log_in(page)
        page.click(BUTTON)
        says(page, "Asking the browser", SAID)
        page.clock.fast_forward(21_000)
        says(page, "push service did not take it", SAID)
        expect(page.locator(BUTTON)).to_be_enabled()
    assert house.records.routes() == []


def test_over_plain_http_it_says_why_not_and_what_to_do(browser: Browser, house: Household) -> None:
    """A phone in the house finds the page under a name, as this Chromium does."""
    begin(house)
    flags = [*FLAGS, "--host-resolver-rules=MAP bins.example 127.0.0.1"]
    launched = browser.browser_type.launch(executable_path=require("chromium"), args=flags)
    with contextlib.closing(launched):
        page = launched.new_context(viewport={"width": 390, "height": 844}).new_page()
        page.goto(f"http://bins.example:{house.server.port}/login?to={PAGE}")
        _log_in(page)
        says(page, "only on a page that came over HTTPS", SAID)
        says(page, "Put a TLS proxy in front", SAID)
        expect(page.locator(BUTTON)).to_be_hidden()
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_without_scripts_it_says_what_else_there_is(browser: Browser, house: Household) -> None:
    begin(house)
    with opened(browser, house, java_script_enabled=False) as page:
        page.goto(f"{house.url}{PAGE}")
        assert "This needs scripts" in page.inner_text("main")
        expect(page.locator(BUTTON)).to_be_hidden()


def test_the_button_stands_only_where_it_is_ones_own_browser(house: Household) -> None:
    ash, wren = begin(house), join(house, "Wren", Role.READER)
    assert "data-push" in ash.read(PAGE)
    assert "data-push" not in ash.read(f"{PAGE}?of=Wren")
    assert "data-push" not in wren.read(PAGE)


def test_the_worker_is_served_where_its_scope_is_the_whole_place(house: Household) -> None:
    answer = Visitor(house).get("/sw.js")
    assert answer.headers["cache-control"] == "no-cache"
    assert answer.headers["content-type"].startswith("text/javascript")
    assert "script-src 'self'" in answer.headers["content-security-policy"]
    assert Visitor(house).get("/mark.png").content.startswith(b"\x89PNG")


def _log_in(page: Page) -> None:
    page.fill("#name", "Ash")
    page.fill("#passphrase", PASSPHRASE)
    page.click("main form button")


def _delivered(page: Page, house: Household, message: object) -> list[list[str]]:
    """Hand a message to the page's worker as the browser does; return what is shown then."""
    before = _notifications(page)
    session = page.context.new_cdp_session(page)
    found: list[str] = []
    session.on(
        "ServiceWorker.workerRegistrationUpdated",
        lambda event: found.extend(one["registrationId"] for one in event["registrations"]),
    )
    session.send("ServiceWorker.enable")
    wait_until(lambda: page.evaluate("1") and found)
    data = "" if message is None else json.dumps(message)
    session.send(
        "ServiceWorker.deliverPushMessage",
        {"origin": house.url, "registrationId": found[0], "data": data},
    )
    wait_until(lambda: _notifications(page) not in ([], before))
    session.detach()
    return _notifications(page)


def _notifications(page: Page) -> list[list[str]]:
    shown: list[list[str]] = page.evaluate(
        "(async () => (await (await navigator.serviceWorker.ready).getNotifications())"
        ".map((one) => [one.title, one.body, one.tag]))()"
    )
    return shown


def _pressed(page: Page) -> list[str]:
    """Press the notification; return what the worker asks the browser to open."""
    (worker,) = page.context.service_workers
    opened_pages: list[str] = worker.evaluate(
        "(async () => { const went = []; clients.openWindow = async (to) => { went.push(to); };"
        " const [shown] = await registration.getNotifications();"
        " self.dispatchEvent(new NotificationEvent('notificationclick', {notification: shown}));"
        " for (let n = 0; n < 50 && !went.length; n++) await new Promise((go) => setTimeout(go, 20));"
        " return went; })()"
    )
    return opened_pages
