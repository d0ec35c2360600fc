"""Where people are told, over the HTTP interface: whose, what is shown, what is refused."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from notify.sinks import WebSink
from underlid.alerts.routes import RouteRules
from underlid.clock import VirtualClock
from underlid.config import Settings
from underlid.notify.addresses import RouteChannels, hint_of
from underlid.notify.outbox import Courier
from underlid.rules.finding import Priority
from underlid.storage.records import Role
from underlid.web.tokens import form_token
from web.household import Household, program
from web.visiting import PASSPHRASE, Visitor, begin, join

PATH = "/api/v1/addresses"


@pytest.fixture
def house(tmp_path: Path) -> Iterator[Household]:
    with Household(tmp_path) as opened:
        opened.settle_in()
        known = replace(opened.context, hint_of=lambda one: hint_of(one, Settings()))
        opened.app.state.context = known
        opened.records.add_person("Robin", Role.KEEPER, PASSPHRASE)
        yield opened


def secret(web: WebSink) -> str:
    return f"json://127.0.0.1:{web.port}/herd-secret"


def logged_in(visitor: Visitor, method: str, path: str, **more: object) -> httpx.Response:
    headers = {"x-form-token": form_token(visitor.cookie)}
    return visitor.client.request(method, path, headers=headers, **more)  # type: ignore[arg-type]


def test_an_address_is_added_listed_changed_and_removed_and_never_shown(
    house: Household, web: WebSink
) -> None:
    with program(house, "lead") as lead:
        fields = {
            "person": "Robin", "address": secret(web), "label": "phone", "least": "high",
            "bins": ["tansy"], "quiet": "22:00-07:00", "unacknowledged_min": 30, "digest_hour": 7,
        }  # fmt: skip
        answer = lead.post(PATH, json=fields)
        assert answer.status_code == 201
        made = answer.json()
        (route,) = house.records.routes("Robin")
        assert route.rules == RouteRules(Priority.HIGH, (), ("tansy",), "22:00-07:00", 30, 7)
        assert made == {
            **{name: value for name, value in fields.items() if name != "address"},
            "id": route.id, "kind": "json", "channel": route.channel, "newest": None,
            "sheds": [], "digest_always": False, "units": "",
        }  # fmt: skip
        assert lead.get(PATH).json() == [made]
        assert lead.get(f"{PATH}?person=Robin").json() == [made]
        changed = lead.put(f"{PATH}/{route.id}", json={"label": "desk", "least": "none"}).json()
        assert (changed["label"], changed["least"], changed["bins"]) == ("desk", "none", [])
        assert house.records.route_addresses() == {route.id: secret(web)}
        assert lead.delete(f"{PATH}/{route.id}").status_code == 204
        assert lead.get(PATH).json() == []
        assert lead.delete(f"{PATH}/{route.id}").status_code == 404
        assert "herd-secret" not in answer.text


def test_who_is_logged_in_sees_to_their_own_and_a_token_only_to_others_as_a_lead(
    house: Household, web: WebSink
) -> None:
    begin(house)
    robin, wren = Visitor(house), join(house, "Wren", Role.READER)
    robin.log_in("Robin")
    new = {"address": secret(web)}
    own = logged_in(robin, "POST", PATH, json=new).json()
    assert own["person"] == "Robin"
    assert robin.get(PATH).json() == [own]
    assert robin.client.post(PATH, json=new).status_code == 403  # without the page's token
    assert logged_in(robin, "POST", PATH, json=new | {"person": "Wren"}).status_code == 403
    assert robin.get(f"{PATH}?person=Wren").status_code == 403
    assert logged_in(wren, "POST", PATH, json=new).status_code == 403
    assert logged_in(wren, "DELETE", f"{PATH}/{own['id']}").status_code == 403
    with program(house, "lead") as lead, program(house, "keeper") as keeper:
        assert lead.post(PATH, json=new).status_code == 422
        assert lead.post(PATH, json=new | {"person": "Nobody"}).status_code == 404
        given = lead.post(PATH, json=new | {"person": "Wren"}).json()
        for refused in (
            keeper.get(f"{PATH}?person=Robin"),
            keeper.post(PATH, json=new | {"person": "Robin"}),
            keeper.delete(f"{PATH}/{own['id']}"),
            keeper.post(f"{PATH}/{own['id']}/test"),
        ):
            assert refused.status_code == 403
        assert keeper.get(PATH).status_code == 422  # a token is nobody's
    assert logged_in(wren, "POST", f"{PATH}/{given['id']}/test").status_code == 403
    assert logged_in(wren, "DELETE", f"{PATH}/{given['id']}").status_code == 204
    assert Visitor(house).get(PATH).status_code == 401


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"address": "nothing://herd-secret"}, "address is something else, expected an e-mail"),
        ({"address": "ash@bins.example"}, "no mail server is set"),
        ({"bins": ["quince"]}, "bin is 'quince', expected the id of a bin that is set up"),
        ({"sheds": ["attic"]}, "shed is 'attic', expected the id of a shed that is set up"),
        ({"quiet": "night"}, "quiet hours is 'night', expected two times"),
        ({"unacknowledged_min": 99999}, "expected 0 to 10080 min"),
        ({"digest_hour": 24}, "expected an hour from 0 to 23"),
        ({"least": "loud"}, "least: Input should be"),
        ({"label": "x" * 41}, "label: String should have at most 40"),
        ({"more": 1}, "more: Extra inputs are not permitted"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_kept(
    house: Household, web: WebSink, wrong: dict[str, object], sentence: str
) -> None:
    with program(house, "lead") as lead:
        answer = lead.post(PATH, json={"person": "Robin", "address": secret(web)} | wrong)
    assert answer.status_code == 422
    assert sentence in answer.json()["detail"]
    assert "herd-secret" not in answer.text
    assert house.records.routes() == []


def test_a_test_message_says_what_became_of_it(house: Household, web: WebSink) -> None:
    courier = Courier(
        house.records, [], VirtualClock(9**14), routes=RouteChannels(house.records, Settings())
    )
    with program(house, "lead") as lead:
        made = lead.post(PATH, json={"person": "Robin", "address": secret(web)}).json()
        courier.start()
        assert lead.post(f"{PATH}/{made['id']}/test").json()["state"] == "sent"
        courier.stop()
        assert lead.get(PATH).json()[0]["newest"]["state"] == "sent"
        (route,) = house.records.routes()
        for number in range(4):
            house.records.post_trial(route, "A program", "", house.clock.now_ms() - 1 - number)
            for waits in house.records.due_deliveries(9**15, 10, route.channel):
                house.records.delivered(waits.id, 1)
        answer = lead.post(f"{PATH}/{made['id']}/test")
        assert (answer.status_code, answer.json()["title"]) == (429, "Too many")
        assert int(answer.headers["retry-after"]) > 0
    (body,) = [json.loads(body) for _, _, body in web.requests]
    assert body["message"].startswith("A program asked whether messages arrive")


def test_the_interface_describes_it(house: Household) -> None:
    described = Visitor(house).get("/api/v1/openapi.json").json()
    ways = {path: set(what) for path, what in described["paths"].items() if PATH in path}
    assert ways == {
        PATH: {"get", "post"},
        f"{PATH}/{{address_id}}": {"put", "delete"},
        f"{PATH}/{{address_id}}/test": {"post"},
    }
    shown = described["components"]["schemas"]["AddressBody"]["properties"]
    assert "address" not in shown
    assert all(what.get("summary") for way in ways for what in described["paths"][way].values())
