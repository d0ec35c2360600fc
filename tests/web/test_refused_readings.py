"""What InfluxDB refused is told on the page and to programs, and sent again when somebody asks."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from storage.influx_front import Fault, Front
from storage.influxd import DATABASE, PASSWORD, USER, Influxd
from storage.readings_places import timed
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.influx.server import InfluxPlace
from web.browsing import click_to, opened, serious_barriers
from web.household import NOW_MS, Household
from web.visiting import Visitor


@pytest.fixture
def front(tmp_path: Path) -> Iterator[Front]:
    influxd = Influxd(tmp_path / "influxd")
    before = Front(influxd.url)
    yield before
    before.stop()
    influxd.stop()


@pytest.fixture
def house(front: Front, tmp_path: Path) -> Iterator[Household]:
    where = InfluxPlace(front.url, f"{USER}:{PASSWORD}", "", DATABASE)
    with Household(
        tmp_path,
        readings=lambda clock: InfluxReadings(tmp_path / "buffer.sqlite", where, clock),
        readings_store="influxdb",
        influxdb_url=front.url,
    ) as opened:
        opened.settle_in()
        yield opened


def test_refused_readings_are_shown_and_sent_again(
    house: Household, ash: Visitor, front: Front
) -> None:
    readings = house.readings
    assert isinstance(readings, InfluxReadings)
    assert "Everything that this machine took in was sent on" in ash.read("/refused")
    assert "InfluxDB" not in ash.read("/probes")
    front.faults.append(Fault(status=422, body='{"message":"points beyond <retention>"}'))
    readings.write([timed("tansy-1", NOW_MS, {"bed_temp_c": 22.5})])
    assert "1 reading is on this machine" in ash.read("/refused")
    readings.drain.empty()
    assert "/refused" in ash.read("/probes")
    page = ash.read("/refused")
    assert "points beyond &lt;retention&gt;" in page
    assert "tansy-1" in page
    token = house.records.make_token("program", "lead")
    headers = {"authorization": f"Bearer {token}"}
    told = ash.client.get("/api/v1/readings/refused", headers=headers).json()
    assert (told["waiting"], told["refused"], told["trouble"]) == (0, 1, None)
    assert told["rows"][0]["values"] == {"bed_temp_c": 22.5}
    assert "underlid_refused_readings 1.0" in ash.read("/metrics")
    answer = ash.send("/refused/retry", {}, "/refused")
    assert answer.status_code == 303
    assert "sent again" in ash.read(answer.headers["location"])
    readings.drain.empty()
    assert readings.backlog().refused == 0
    answer = ash.client.post("/api/v1/readings/refused/retry", headers=headers)
    assert json.loads(answer.text) == {"again": 0}


def test_the_refused_are_read_without_barriers_on_a_narrow_screen(
    house: Household, ash: Visitor, front: Front, browser: Browser
) -> None:
    del ash
    readings = house.readings
    assert isinstance(readings, InfluxReadings)
    front.faults.append(Fault(status=422, body='{"message":"points beyond retention"}'))
    readings.write([timed("tansy-1", NOW_MS, {"bed_temp_c": 22.5})])
    readings.drain.empty()
    with opened(browser, house, wide=320) as page:
        page.goto(f"{house.url}/refused")
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
        assert serious_barriers(page) == []
        click_to(page, "text=Try all again", "**said=resent")


def test_a_place_that_sends_nothing_on_says_so(looker: Visitor) -> None:
    page = looker.words("/refused")
    assert "None. Readings are kept on this machine" in page
    assert "InfluxDB" not in page
