"""Where people are told: who may see to what, what is shown of an address, the test message."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser
from pydantic import SecretStr

from notify.messages import TOLD
from notify.sinks import MailSink, WebSink
from notify.test_addresses import ALERT
from underlid.alerts.routes import RouteRules
from underlid.clock import VirtualClock
from underlid.config import Settings
from underlid.notify.addresses import RouteChannels, hint_of
from underlid.notify.outbox import Courier
from underlid.rules.finding import Priority
from underlid.storage.records import Role
from web.browsing import click_to, opened, says, serious_barriers
from web.household import NOW_MS, Household
from web.visiting import Visitor, begin, join, plain

PAGE = "/people/told"
RULES = {"least": "low", "wait": "0", "digest": ""}


@pytest.fixture
def house(tmp_path: Path, mail: MailSink) -> Iterator[Household]:
    """A household with a courier that works: an address is served as the service does it."""
    with Household(tmp_path, smtp_url=mail.address()) as opened_house:
        opened_house.settle_in()
        settings = Settings(smtp_url=SecretStr(mail.address()))
        routes = RouteChannels(opened_house.records, settings)
        courier = Courier(opened_house.records, [], VirtualClock(9**14), routes=routes)
        opened_house.app.state.context = replace(
            opened_house.context,
            hint_of=lambda one: hint_of(one, settings),
            wake_courier=courier.wake,
        )
        courier.start()
        yield opened_house
        courier.stop()


def add(visitor: Visitor, address: str, **more: str) -> str:
    answer = visitor.send(f"{PAGE}/add", {"address": address, **RULES, **more}, PAGE)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def test_a_keeper_sees_to_their_own_addresses_and_none_is_shown_again(
    house: Household, web: WebSink
) -> None:
    begin(house)
    robin = join(house, "Robin", Role.KEEPER)
    secret = f"json://127.0.0.1:{web.port}/herd-secret"
    where = add(robin, secret, label="my phone", least="high", bin_tansy="yes", wait="30",
                quiet_from="22:00", quiet_until="07:00", digest="7")  # fmt: skip
    assert "The address is kept." in robin.words(where)
    (route,) = house.records.routes("Robin")
    assert route.rules == RouteRules(Priority.HIGH, (), ("tansy",), "22:00-07:00", 30, 7)
    page = robin.read(PAGE)
    assert "herd-secret" not in page
    assert f"my phone json · in lists and logs: {route.channel}" in robin.words(PAGE)
    assert "wants somebody today or now, of Tansy, if nobody has acknowledged it for 30 min" in page

    assert "Quiet 22:00-07:00. Daily digest at 07:00." in page
    fields = RULES | {"address": "", "label": "desk", "shed_potting": "yes"}
    robin.send(f"{PAGE}/{route.id}/change", fields, PAGE)
    (changed,) = house.records.routes("Robin")
    assert (changed.label, changed.rules) == ("desk", RouteRules(sheds=("potting",)))
    assert house.records.route_addresses() == {route.id: secret}
    robin.send(f"{PAGE}/{route.id}/remove", {}, PAGE)
    assert house.records.routes() == []


def test_a_lead_sees_to_everybodys_and_nobody_else_does(house: Household) -> None:
    ash = begin(house)
    robin, wren = join(house, "Robin", Role.KEEPER), join(house, "Wren", Role.READER)
    add(ash, "robin@bins.example", of="Robin")
    (route,) = house.records.routes("Robin")
    assert "e-mail r…@bins.example" in ash.words(f"{PAGE}?of=Robin")
    assert "robin@" not in ash.read(f"{PAGE}?of=Robin")
    assert "Robin keeper, 1 address" in ash.words("/people")
    assert wren.get(f"{PAGE}?of=Robin").status_code == 403
    assert robin.get(f"{PAGE}?of=Ash").status_code == 403
    assert ash.get(f"{PAGE}?of=Nobody").status_code == 404
    add(ash, "ash@bins.example")
    (own,) = house.records.routes("Ash")
    for visitor in (robin, wren):
        for what in ("change", "remove", "try"):
            assert visitor.send(f"{PAGE}/{own.id}/{what}", RULES, PAGE).status_code == 403
    fields = {"address": "wren@bins.example", **RULES}
    token = {"form_token": re.findall(r'form_token" value="([^"]+)', wren.read("/people"))[0]}
    assert wren.client.post(f"{PAGE}/add", data=fields | token).status_code == 403
    assert ash.send(f"{PAGE}/none/try", {}, PAGE).status_code == 404
    assert house.records.route(route.id) == route


def test_who_only_looks_may_remove_what_a_lead_gave_them_and_nothing_else(house: Household) -> None:
    ash, wren = begin(house), join(house, "Wren", Role.READER)
    add(ash, "wren@bins.example", of="Wren")
    add(ash, "ash@bins.example")
    (given,), (others,) = house.records.routes("Wren"), house.records.routes("Ash")
    page = wren.read(PAGE)
    assert f"{PAGE}/{given.id}/remove" in page
    assert f"{PAGE}/{given.id}/try" not in page
    assert wren.send(f"{PAGE}/{others.id}/remove", {}, PAGE).status_code == 403
    for what in ("change", "try"):
        assert wren.send(f"{PAGE}/{given.id}/{what}", RULES, PAGE).status_code == 403
    assert wren.send(f"{PAGE}/{given.id}/remove", {}, PAGE).status_code == 303
    assert house.records.routes() == [others]


def test_too_many_test_messages_are_refused_until_later(house: Household, web: WebSink) -> None:
    robin = begin(house)
    add(robin, f"json://127.0.0.1:{web.port}/stranger")
    (route,) = house.records.routes()
    for number in range(5):
        house.records.post_trial(route, "Ash", "a test", NOW_MS - number)
        for waits in house.records.due_deliveries(9**15, 10, route.channel):
            house.records.delivered(waits.id, NOW_MS)
    answer = robin.send(f"{PAGE}/{route.id}/try", {}, PAGE)
    assert answer.status_code == 429
    assert 590 < int(answer.headers["retry-after"]) <= 600
    assert "expected fewer. Wait 10 min." in plain(answer.text)


def test_an_undelivered_message_for_an_address_that_is_gone_says_so_and_can_be_forgotten(
    house: Household,
) -> None:
    ash = begin(house)
    add(ash, "ash@bins.example")
    (route,) = house.records.routes()
    house.records.save_judgement([ALERT], [], [TOLD], [])
    (waits,) = house.records.due_deliveries(9**15, 10, route.channel)
    house.records.failed(waits.id, NOW_MS, "no connection", None)
    assert "no connection" in ash.words("/probes")
    assert "Forget it" not in ash.words("/probes")
    ash.send(f"{PAGE}/{route.id}/remove", {}, PAGE)
    assert "no connection; the address of Ash was removed" in ash.words("/probes")
    assert ash.send(f"/probes/undelivered/{waits.id}", {}, "/probes").status_code == 404
    assert ash.send(f"/probes/undelivered/{waits.id}/forget", {}, "/probes").status_code == 303
    assert house.records.dead_letters() == []


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"address": "nothing://herd-secret"}, "Address is something else, expected an e-mail"),
        ({"address": ""}, "Address is something else, expected an e-mail"),
        ({"quiet_from": "22:00"}, "Quiet hours is &#39;22:00-&#39;, expected two times"),
        ({"label": "x" * 99}, "at most 40 characters"),
        ({"wait": "17"}, "When it is told is &#39;17&#39;, expected one of: at once, if not"),
    ],
)
def test_what_is_wrong_is_said_and_the_address_not_repeated(
    house: Household, wrong: dict[str, str], sentence: str
) -> None:
    ash = begin(house)
    fields = {"address": "json://127.0.0.1/herd-secret", **RULES, **wrong}
    answer = ash.send(f"{PAGE}/add", fields, PAGE)
    assert answer.status_code == 422
    assert sentence in answer.text
    assert "herd-secret" not in answer.text
    assert house.records.routes() == []


def test_a_test_message_says_what_came_back(house: Household, mail: MailSink) -> None:
    ash = begin(house)
    add(ash, "ash@bins.example")
    (route,) = house.records.routes()
    ash.send(f"{PAGE}/{route.id}/try", {}, PAGE)
    assert "The test message was taken" in ash.words(PAGE)
    assert "Ash asked whether messages arrive" in mail.text()
    mail.failing = True
    house.clock.set_ms(house.clock.now_ms() + 1000)
    ash.send(f"{PAGE}/{route.id}/try", {}, PAGE)
    assert "The test message was not taken" in ash.words(PAGE)


@pytest.mark.parametrize("wide", [390, 1280])
def test_the_page_works_without_scripts_on_narrow_and_wide_screens(
    house: Household, browser: Browser, wide: int
) -> None:
    begin(house)
    with opened(browser, house, wide=wide, java_script_enabled=False) as page:
        page.goto(f"{house.url}/people")
        click_to(page, "text=See and change them", "**/people/told*")
        page.fill("#new-address", "ash@bins.example")
        page.fill("#new-label", "mail")
        page.select_option("#new-wait", "60")
        page.click("form[action='/people/told/add'] button")
        says(page, "if nobody has acknowledged it for 1 h")
        page.click("text=Send a test message")
        says(page, "The test message was taken")
    with opened(browser, house, wide=wide) as page:
        page.goto(f"{house.url}{PAGE}")
        page.click("text=Change it")
        assert serious_barriers(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= wide
