"""Ingest, judge and web as processes of their own; and what becomes of one that goes."""

from __future__ import annotations

import json
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import httpx
import paho.mqtt.client as mqtt
import pytest

from drawn import drawn
from mqtt.brokers import probe as connect
from programs import require
from service.forked import Forked
from service.place import PLACE
from service.running import hears_probes
from service.several import Several
from storage.postgres import cluster
from underlid.clock import SystemClock
from underlid.config import load
from underlid.errors import UnderlidError
from underlid.journal.entries import Entry, Turned
from underlid.storage.records import Role
from underlid.timeline import MINUTE_MS
from underlid.workers.roles import check_role
from waiting import WAIT_S, wait_until


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Several]:
    for program in ("mosquitto", "influxd", "initdb"):
        require(program)
    made = Several(tmp_path, SystemClock().now_ms(), 1.0)
    made.records.save_setup(PLACE)
    made.begin()
    yield made
    made.close()


def publish(client: mqtt.Client, place: Several, number: int, minutes_ago: int) -> None:
    at_ms = place.now_ms() // MINUTE_MS * MINUTE_MS - minutes_ago * MINUTE_MS + number
    told = {"ts": at_ms / 1000, "headspace_temp_c": 23.0, "headspace_rh_pct": 80.0}
    client.publish("underlid/v1/potting/tansy-1/json", json.dumps(told), qos=1)


def ask(url: str, token: str = "", body: bytes | None = None) -> tuple[int, str]:
    headers = {"Content-Type": "application/json"}
    if token:
        headers["Authorization"] = f"Bearer {token}"
    try:
        with urllib.request.urlopen(
            urllib.request.Request(url, body, headers), timeout=WAIT_S
        ) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


def hears_of_a_reading(web: str, token: str, client: mqtt.Client, place: Several) -> bool:
    """Tell whether an open page hears of a reading that another worker took in."""
    headers = {"Authorization": f"Bearer {token}"}
    asked = urllib.request.Request(f"{web}/api/v1/live?bin=tansy", headers=headers)
    with urllib.request.urlopen(asked, timeout=WAIT_S) as stream:
        for line in stream:
            if line.startswith(b"retry"):
                continue
            if line == b"event: look\n":  # sent when the first look has been taken
                publish(client, place, 1, 0)
            if line == b"event: reading\n":
                return True
    return False


def test_each_role_does_its_part(place: Several) -> None:
    token = place.records.make_token("test", Role.KEEPER)
    place.records.add_person("Ash", Role.KEEPER, "lift the lid")
    roles = {"taker": "ingest", "judge": "judge", "page": "web"}
    worker = place.start_together(roles, tick_s=1)
    states: dict[str, dict[str, object]] = {}
    listener = connect(
        place.broker,
        "keeper",
        on_message=lambda _c, _d, message: states.update(
            {message.topic: json.loads(message.payload)}
        ),
    )
    listener.subscribe("underlid/v1/potting/state/+")
    client = connect(place.broker)
    for minute in range(40, 0, -1):
        publish(client, place, 0, minute)
    bins = f"{worker['page'].web}/api/v1/bins"
    wait_until(lambda: '"headspace_temp_c"' in ask(f"{bins}/tansy/state", token)[1])
    wait_until(lambda: place.records.bin_state("tansy") is not None)
    wait_until(lambda: "underlid/v1/potting/state/tansy" in states)
    wait_until(lambda: '"dew_point_c"' in ask(f"{bins}/tansy/series", token)[1])
    client.publish("underlid/v1/potting/tansy-1/status", "online", qos=1)
    wait_until(lambda: "tansy-1" in place.records.probe_statuses())
    assert hears_of_a_reading(worker["page"].web, token, client, place)
    pack = json.dumps({"bed_temp_c": 24.5}).encode()
    post = "/api/v1/readings?shed=potting&probe=tansy-1"
    assert ask(worker["taker"].web + post, token, pack)[0] == 200
    status, said = ask(worker["page"].web + post, token, pack)
    assert (status, "takes no readings" in said) == (503, True)
    for one in worker.values():
        assert ask(f"{one.web}/healthz")[0] == 200
        wait_until(lambda one=one: ask(f"{one.web}/readyz")[1] == '{"status":"ready","unwell":{}}')
        assert "underlid_readings_total" in ask(f"{one.web}/metrics")[1]
    for name in ("taker", "judge"):
        assert ask(f"{worker[name].web}/")[0] == 404
    worker["judge"].kill()
    wait_until(lambda: "no worker judges 1 of 1 sheds" in ask(f"{worker['page'].web}/readyz")[1])
    client.disconnect()
    client.loop_stop()
    listener.disconnect()
    listener.loop_stop()


def test_what_waits_for_a_worker_that_is_gone_is_taken_in_by_another(place: Several) -> None:
    worker = place.start_together({"first": "ingest", "second": "ingest"}, tick_s=1)
    client = connect(place.broker)
    worker["first"].kill()
    for number in range(100):
        publish(client, place, number, 3)
    store = place.store(SystemClock())

    def stored() -> int:
        now_ms = place.now_ms()
        raw = store.raw("tansy-1", now_ms - 20 * MINUTE_MS, now_ms)
        return len(raw.taken_at_ms)

    wait_until(lambda: stored() == 100)
    wait_until(lambda: place.records.gone("ingest") == [])
    for number in range(100):
        publish(client, place, number, 5)
    wait_until(lambda: stored() == 200)
    again = place.start("first", "ingest", tick_s=1)
    wait_until(lambda: hears_probes(again.web))
    for number in range(100):
        publish(client, place, number, 7)
    wait_until(lambda: stored() == 300)
    for name in ("first", "second"):
        said = ask(f"{place.workers[name].web}/metrics")[1]
        taken = next(line for line in said.splitlines() if line.startswith("underlid_readings_tot"))
        assert float(taken.split()[1]) >= 40, name
    client.disconnect()
    client.loop_stop()
    store.close()


def test_a_second_service_with_readings_of_its_own_is_refused(tmp_path: Path) -> None:
    require("initdb")
    address = cluster().borrow()
    given = {
        "records_url": address,
        "door": False,
        "start_ms": SystemClock().now_ms(),
        "speed": 1.0,
        "began_s": time.monotonic(),
    }
    first = Forked(tmp_path / "first", **given)
    try:
        with pytest.raises(AssertionError, match="no other running service uses"):
            Forked(tmp_path / "second", **given)
        first.stop()
        Forked(tmp_path / "second", **given).stop()
    finally:
        first.stop()
    cluster().give_back(address)


def test_a_role_without_others_to_share_with_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnderlidError, match="setting role"):
        check_role(load(data=tmp_path, role="judge"))
    several = {"records_url": "postgresql://x/y", "readings_store": "influxdb"}
    check_role(load(data=tmp_path, role="judge", **several))
    with pytest.raises(UnderlidError, match="webhook_secret"):
        check_role(load(data=tmp_path, role="judge", webhook_url="http://x.example/", **several))


def test_a_photo_sent_to_one_page_worker_is_shown_by_the_other(place: Several) -> None:
    token = place.records.make_token("phone", Role.KEEPER)
    place.records.add_entry(Entry("e1", "tansy", 1, 1, Turned()))
    worker = place.start_together({"one": "web", "two": "web"})
    at, headers = "/api/v1/entries/e1/photos", {"authorization": f"Bearer {token}"}
    picture = headers | {"content-type": "image/jpeg"}
    sent = httpx.post(worker["one"].web + at, content=drawn(), headers=picture, timeout=WAIT_S)
    assert sent.status_code == 201, sent.text
    shown = [
        httpx.get(worker[name].web + sent.json()[0]["full"], headers=headers, timeout=WAIT_S)
        for name in ("one", "two")
    ]
    assert shown[0].content == shown[1].content
    assert shown[1].headers["content-type"] == "image/jpeg"
