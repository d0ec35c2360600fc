"""Other firmware on the pages and in the interface: heard, mapped, tried out, kept, removed."""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from paho.mqtt.client import Client
from playwright.sync_api import Browser, expect

from mqtt.brokers import Mosquitto, probe
from underlid.mqtt.broker import BrokerPlace
from underlid.mqtt.listening import Ear
from underlid.readings.mapped import Mappings
from underlid.readings.values import RawMessage
from underlid.storage.records import Role
from waiting import WAIT_S, wait_until
from web.browsing import click_to, opened, says, serious_barriers
from web.household import Household, program
from web.visiting import Visitor, begin, join

ENV = '{"at": 1790000000, "soil": {"temp": 68.0, "raw": 1843}, "air": [{"rh": 0.91}], "fw": "x"}'
FORM = {
    "name": "allotment-boards",
    "filter": "allotment/+/env",
    "shed": "potting",
    "probe_by": "probe_level",
    "probe_which": "2",
    "at_1": "/soil/temp",
    "channel_1": "bed_temp_c",
    "unit_1": "degF",
    "at_2": "/soil/raw",
    "channel_3": "headspace_rh_pct",
    "at_3": "/air/0/rh",
    "unit_3": "/",
    "example_topic": "allotment/Board 7/env",
    "example": ENV,
}
MAPPING = {
    "filter": "allotment/+/env",
    "shed": "potting",
    "probe_level": 2,
    "values": [{"at": "/soil/temp", "channel": "bed_temp_c", "unit": "degF"}],
    "example_topic": "allotment/3/env",
    "example": ENV,
}


def arrive(house: Household, topic: str, payload: str) -> None:
    """Bring a message of other firmware to disk, as a door does that knows the kept mappings."""
    house.recorder.mappings = Mappings(house.records.mappings().good)
    told = threading.Event()
    message = RawMessage(topic, payload.encode(), house.clock.now_ms())
    assert house.recorder.submit([message], lambda outcome: told.set())
    assert told.wait(WAIT_S)


def test_a_mapping_is_tried_and_kept_and_its_readings_come_as_unclaimed(
    house: Household, ash: Visitor
) -> None:
    tried = ash.send("/mapping", FORM | {"act": "try"}, "/mapping")
    assert tried.status_code == 200
    for word in ("board-7", "20.0 °C", "91 %"):
        assert word in tried.text
    assert house.records.mappings().good == {}
    kept = ash.send("/mapping", FORM | {"act": "keep"}, "/mapping")
    assert "board-7" in ash.read(kept.headers["location"])
    made = house.records.mappings().good["allotment-boards"]
    assert [one.channel for one in made.values] == ["bed_temp_c", "headspace_rh_pct"]
    arrive(house, "allotment/Board 7/env", ENV)
    assert "board-7" in ash.read("/probes")
    page = ash.read("/mapping?name=allotment-boards")
    assert 'value="/soil/temp"' in page
    renamed = FORM | {"act": "keep", "was": "allotment-boards", "name": "plots"}
    assert ash.send("/mapping", renamed, "/mapping").status_code == 303
    assert set(house.records.mappings().good) == {"plots"}
    gone = ash.send("/mapping/remove", {"was": "plots"}, "/mapping")
    assert "The mapping is gone" in ash.read(gone.headers["location"])
    assert ash.send("/mapping/remove", {"was": "plots"}, "/mapping").status_code == 404


@pytest.mark.parametrize(
    ("change", "marked", "said"),
    [
        ({"unit_1": "%RH"}, "unit_1", "one of the units of bed_temp_c"),
        ({"at_3": "air"}, "at_3", "JSON Pointer"),
        ({"filter": "#"}, "filter", "no topic of underlid/v1"),
        ({"probe_which": "4"}, "probe_which", "a level that the filter has"),
        ({"probe_which": "two"}, "probe_which", "integer"),
        ({"probe_which": ""}, "probe_which", "one way to find the probe"),
        ({"name": "Boards"}, "name", "a letter or digit first"),
        ({"channel_1": "", "channel_3": ""}, "channel_1", "at least one number"),
        ({"times_1": "x"}, "times_1", "number"),
        ({"example": "x" * 5000}, "example", "at most 4096"),
        ({"shed": "cellar"}, "", "a shed that is set up"),
    ],
)
def test_a_slip_is_said_where_it_is_and_nothing_is_lost(
    house: Household, ash: Visitor, change: dict[str, str], marked: str, said: str
) -> None:
    answer = ash.send("/mapping", FORM | change | {"act": "keep"}, "/mapping")
    assert answer.status_code == 422
    assert said in answer.text
    if marked:
        start = answer.text.index(f'name="{marked}"')
        assert 'aria-invalid="true"' in answer.text[start : start + 6000].partition(">")[0]
    assert "/soil/raw" in answer.text
    assert house.records.mappings().good == {}


def test_what_came_to_the_door_unasked_fills_a_new_form(house: Household, ash: Visitor) -> None:
    arrive(house, "allotment/3/env?&", ENV)
    arrive(house, "allotment/3/air", "7")
    page = ash.read("/mappings")
    at = f"/mapping?refused={house.clock.now_ms()}&amp;topic="
    assert f"{at}allotment/3/air" in page
    found = re.search(re.escape(at) + r"allotment/3/env[^\"]+", page)
    assert found, "two messages of one moment have links of their own"
    form = ash.read(found[0].replace("&amp;", "&"))
    for word in ('value="/at"', 'value="/soil/temp"', 'value="/air/0/rh"', "here 1843"):
        assert word in form
    assert "Map this message" in page


def test_others_may_look_but_not_map(house: Household, ash: Visitor) -> None:
    arrive(house, "allotment/3/env", ENV)
    ash.send("/mapping", FORM | {"act": "keep"}, "/mapping")
    keeper = join(house, "Robin", Role.KEEPER)
    page = keeper.read("/mappings")
    assert "allotment-boards" in page
    assert "Map this message" not in page
    assert keeper.get("/mapping").status_code == 403
    for path in ("/mapping", "/mapping/remove", "/mappings/listen"):
        assert keeper.send(path, FORM, "/mappings").status_code == 403


def test_one_that_cannot_be_used_is_shown_and_can_go(house: Household, ash: Visitor) -> None:
    with house.records._database.write() as connection:
        connection.execute(sa.text("INSERT INTO mappings (name, fields) VALUES ('torn', '{')"))
    assert "cannot be used" in ash.read("/mappings")
    with program(house, "reader") as reader:
        (body,) = reader.get("/api/v1/mappings").json()
        assert (body["name"], body["mapping"]) == ("torn", None)
        assert body["trouble"]
    ash.send("/mapping/remove", {"was": "torn"}, "/mappings")
    assert house.records.mappings().broken == {}


def test_the_interface_keeps_tries_and_removes(house: Household) -> None:
    with program(house, "lead") as lead:
        tried = lead.post("/api/v1/mappings/try", json=MAPPING).json()
        assert tried["readings"][0]["probe"] == "3"
        assert tried["readings"][0]["values"] == {"bed_temp_c": pytest.approx(20.0)}
        assert tried["readings"][0]["by_receipt"]
        assert tried["rejected"] == []
        path = "/api/v1/mappings/allotment-boards"
        kept = lead.put(path, json=MAPPING).json()
        assert kept["mapping"]["filter"] == "allotment/+/env"
        assert kept["trouble"] is None
        assert lead.get(path).json() == kept
        assert lead.get("/api/v1/mappings").json() == [kept]
        wrong = MAPPING | {"values": [{"at": "/x", "channel": "bed_temp_c", "unit": "V"}]}
        refused = lead.put(path, json=wrong)
        assert refused.status_code == 422
        assert refused.headers["content-type"] == "application/problem+json"
        assert "one of the units of bed_temp_c" in refused.json()["detail"]
        overlapping = MAPPING | {"filter": "allotment/3/env"}
        assert lead.put("/api/v1/mappings/other", json=overlapping).status_code == 422
        assert lead.delete(path).status_code == 204
        assert lead.delete(path).status_code == 404
        assert lead.get("/api/v1/listening").status_code == 404
        asked = lead.get("/api/v1/openapi.json").json()["paths"]
        assert {"/api/v1/mappings", "/api/v1/mappings/{name}"} <= asked.keys()
    with program(house, "keeper") as keeper:
        assert keeper.put(path, json=MAPPING).status_code == 403


@pytest.fixture
def listener(tmp_path: Path) -> Iterator[tuple[Household, Mosquitto]]:
    """Give a house that can listen at a broker where the allotment's boards may send."""
    (tmp_path / "broker").mkdir()
    (tmp_path / "house").mkdir()
    broker = Mosquitto(tmp_path / "broker")
    acl = broker.folder / "acl"
    text = acl.read_text().replace("user underlid\n", "user underlid\ntopic read allotment/#\n")
    acl.write_text(text.replace("user probes\n", "user probes\ntopic write allotment/#\n"))
    broker.start()
    house = Household(tmp_path / "house")
    ear = Ear(BrokerPlace("127.0.0.1", broker.port, "underlid", "service-secret"), house.clock)
    house.context = replace(house.context, ear=ear)
    house.app.state.context = house.context
    with house:
        house.settle_in()
        yield house, broker
        ear.stop()
    broker.stop()


def comes(house: Household, client: Client) -> bool:
    """Let a board send, and tell whether anything was heard: who listens may not be there yet."""
    client.publish("allotment/Board 7/env", ENV, qos=1).wait_for_publish(WAIT_S)
    return house.context.ear is not None and house.context.ear.heard().count > 0


@pytest.mark.parametrize("wide", [390, 1280])
def test_from_a_message_on_the_broker_to_a_kept_mapping(
    browser: Browser, listener: tuple[Household, Mosquitto], wide: int
) -> None:
    house, broker = listener
    begin(house)
    client = probe(broker)
    with opened(browser, house, wide=wide) as page:
        page.goto(f"{house.url}/probes")
        click_to(page, "text=See the mappings", "**/mappings")
        page.fill("[name=filter]", "allotment/#")
        page.click("button:has-text('Listen for a minute')")
        page.locator("text=so far").wait_for()
        wait_until(lambda: comes(house, client))
        page.click("text=Look again")
        click_to(page, "text=Map this message >> nth=0", "**/mapping?*")
        page.fill("[name=name]", "allotment-boards")
        page.fill("[name=filter]", "allotment/+/env")
        expect(page.locator("[name=time_at]")).to_have_value("/at")
        expect(page.locator("[name=at_1]")).to_have_value("/soil/temp")
        page.fill("[name=channel_1]", "bed_temp_c")
        page.fill("[name=unit_1]", "degF")
        page.click("button:has-text('Try it')")
        says(page, "20.0 °C", ".tried")
        assert serious_barriers(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= wide
        page.click("button:has-text('Keep this mapping')")
        says(page, "The mapping is kept", ".said")
        click_to(page, "text=All mappings", "**/mappings")
        assert serious_barriers(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= wide
    made = house.records.mappings().good["allotment-boards"]
    assert (made.time_at, made.time_as, made.probe_level) == ("/at", "s", 2)
    with program(house, "lead") as lead:
        asked = lead.post("/api/v1/listening", json={"filter": "allotment/+/env"})
        assert asked.status_code == 202
        wait_until(lambda: comes(house, client))
        messages = lead.get("/api/v1/listening").json()["messages"]
        assert json.loads(messages[0]["payload"]) == json.loads(ENV)
        assert lead.post("/api/v1/listening", json={"filter": "a/#/b"}).status_code == 422
    client.disconnect()
    client.loop_stop()


def test_what_came_for_a_mapping_is_counted(house: Household, ash: Visitor) -> None:
    with program(house, "lead") as lead:
        for name in ("boards", "idle"):
            elsewhere = {"filter": "elsewhere/+/env", "example_topic": "elsewhere/3/env"}
            other = MAPPING if name == "boards" else MAPPING | elsewhere
            assert lead.put(f"/api/v1/mappings/{name}", json=other).status_code == 200
        for payload in (ENV, ENV, '{"soil": {"temp": "warm"}}'):
            arrive(house, "allotment/3/env", payload)
        arrive(house, "underlid/v1/potting/tansy-1/json", '{"bed_temp_c": 20}')
        came = {one["name"]: one["came"] for one in lead.get("/api/v1/mappings").json()}
        assert (came["boards"]["messages"], came["boards"]["refused"]) == (3, 1)
        assert came["boards"]["last_at"] == came["boards"]["refused_at"]
        assert "'warm'" in came["boards"]["refusal"]
        assert came["idle"] == {
            "messages": 0, "last_at": None, "refused": 0, "refused_at": None, "refusal": "",
        }  # fmt: skip
        figures = lead.get("/metrics").text
        assert 'underlid_mapping_messages_total{mapping="boards"} 3.0' in figures
        assert 'underlid_mapping_refused_total{mapping="boards"} 1.0' in figures
        assert 'underlid_mapping_last_message_seconds{mapping="boards"}' in figures
        page = ash.words("/mappings")
        assert "3 messages since the start, the last just now. 1 refused, the last just now" in page
        assert "Nothing has come for it since the start." in page
        lead.delete("/api/v1/mappings/boards")
        arrive(house, "elsewhere/3/env", ENV)
        assert 'mapping="boards"' not in lead.get("/metrics").text
