"""What InfluxDB refused is told on the page and to programs, and sent again when somebody asks."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from storage.influx_front import Fault, Front
from storage.influxd import DATABASE, PASSWORD, USER, Influxd
from storage.readings_places import timed
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.influx.server import InfluxPlace
from web.places import NOW_MS, Place
from web.visiting import visiting


@pytest.fixture
def front(tmp_path: Path) -> Iterator[Front]:
    influxd = Influxd(tmp_path / "influxd")
    before = Front(influxd.url)
    yield before
    before.stop()
    influxd.stop()


@pytest.fixture
def readings(place: Place, front: Front, tmp_path: Path) -> Iterator[InfluxReadings]:
    where = InfluxPlace(front.url, f"{USER}:{PASSWORD}", "", DATABASE)
    store = InfluxReadings(tmp_path / "buffer.sqlite", where, place.clock)
    place.context = replace(place.context, readings=store)
    yield store
    store.close()


def test_refused_readings_are_shown_and_sent_again(
    place: Place, front: Front, readings: InfluxReadings
) -> None:
    with visiting(place) as ash:
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
        token = place.records.make_token("program", "lead")
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
