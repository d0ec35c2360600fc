"""The JSON interface, asked as a program asks it: tokens, readings, journal, curves, alerts."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import cbor2
import httpx
import pytest

from underlid.timeline import HOUR_MS, MINUTE_MS, rfc3339
from waiting import WAIT_S
from web.household import NOW_MS, Household, program, week_before

SENML = [
    {"bn": "tansy-1", "n": "bed-temp", "u": "Cel", "v": 22.5},
    {"n": "headspace-rh", "u": "%RH", "v": 91.0},
]


@pytest.fixture
def house(tmp_path: Path) -> Iterator[Household]:
    with Household(tmp_path) as opened:
        opened.settle_in()
        yield opened


@pytest.fixture
def keeper(house: Household) -> httpx.Client:
    return program(house, "keeper")


@pytest.fixture
def lead(house: Household) -> httpx.Client:
    return program(house, "lead")


@pytest.fixture
def reader(house: Household) -> httpx.Client:
    return program(house, "reader")


POST_READINGS = "/api/v1/readings?shed=potting&probe=tansy-1"


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("application/senml+json", json.dumps(SENML).encode()),
        (
            "application/senml+cbor",
            cbor2.dumps([{-2: "tansy-1", 0: "bed-temp", 1: "Cel", 2: 22.5}]),
        ),
        ("application/json", b'{"bed_temp_c": 22.5}'),
        ("application/json; charset=utf-8", b'[{"ts": 1781000000, "bed_temp_c": 22.5}]'),
    ],
)
def test_readings_are_on_disk_when_the_answer_comes(
    house: Household, keeper: httpx.Client, kind: str, body: bytes
) -> None:
    answer = keeper.post(POST_READINGS, content=body, headers={"content-type": kind})
    assert answer.status_code == 200, answer.text
    assert answer.json() == {"accepted": 1, "rejected": []}
    assert house.readings.probes_seen()[0].last_values["bed_temp_c"] == 22.5


def test_readings_in_part_bad_are_told_in_sentences(keeper: httpx.Client) -> None:
    body = b'{"bed_temp_c": 22.5, "headspace_rh_pct": "wet"}'
    answer = keeper.post(POST_READINGS, content=body, headers={"content-type": "application/json"})
    assert answer.json()["accepted"] == 1
    (refused,) = answer.json()["rejected"]
    assert refused["reason"] == "bad_value"
    assert "wet" in refused["sentence"]


@pytest.mark.parametrize(
    ("path", "kind", "body", "status", "words"),
    [
        (POST_READINGS, "text/plain", b"22.5", 415, "application/senml+json"),
        (POST_READINGS, "application/json", b"{", 422, "JSON"),
        (POST_READINGS, "application/json", b"[" * 60_000, 422, "JSON"),
        (POST_READINGS, "application/json", b"x" * 70_000, 413, "65536"),
        (POST_READINGS, "application/json", b"x" * 200_000, 413, "131072"),
        ("/api/v1/readings?shed=POT&probe=t", "application/json", b"{}", 422, "shed"),
        ("/api/v1/readings?shed=potting", "application/json", b"{}", 422, "probe"),
    ],
)
def test_readings_that_cannot_be_used(
    keeper: httpx.Client, path: str, kind: str, body: bytes, status: int, words: str
) -> None:
    answer = keeper.post(path, content=body, headers={"content-type": kind})
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["status"] == status
    assert words in problem["detail"]


def test_readings_without_a_token_or_with_a_reader_s(
    house: Household, reader: httpx.Client
) -> None:
    stranger = httpx.Client(base_url=house.url, timeout=WAIT_S)
    refused = stranger.post(POST_READINGS, json={"bed_temp_c": 22})
    assert refused.status_code == 401
    assert refused.headers["www-authenticate"].startswith("Bearer")
    wrong = stranger.post(
        POST_READINGS, json={"bed_temp_c": 22}, headers={"authorization": "Bearer wrong"}
    )
    assert "invalid_token" in wrong.headers["www-authenticate"]
    assert reader.post(POST_READINGS, json={"bed_temp_c": 22}).status_code == 403
    assert house.readings.probes_seen() == []


FEED = {
    "bin": "tansy",
    "kind": "feed",
    "ingredient": "melon:1200+bread:300",
    "drained_g": 100,
    "bedding": "newspaper:250",
    "time": rfc3339(NOW_MS - HOUR_MS),
}


def test_an_entry_posted_twice_with_one_key_is_kept_once(keeper: httpx.Client) -> None:
    first = keeper.post("/api/v1/entries", json=FEED, headers={"Idempotency-Key": "tap-1"})
    again = keeper.post("/api/v1/entries", json=FEED, headers={"Idempotency-Key": "tap-1"})
    assert first.status_code == again.status_code == 201
    assert first.json()["id"] == again.json()["id"]
    assert first.json()["summary"].startswith("1.2 kg melon and 300 g bread")
    assert len(keeper.get("/api/v1/entries").json()["entries"]) == 1


def test_an_entry_is_corrected_and_withdrawn_with_its_history(keeper: httpx.Client) -> None:
    made = keeper.post("/api/v1/entries", json=FEED).json()
    path = f"/api/v1/entries/{made['id']}"
    corrected = keeper.put(path, json=FEED | {"ingredient": "melon:900"})
    assert corrected.json()["version"] == 2
    gone = keeper.delete(path)
    assert gone.json()["withdrawn"]
    assert [one["version"] for one in keeper.get(f"{path}/history").json()] == [1, 2, 3]
    assert keeper.get("/api/v1/entries").json()["entries"] == []
    assert len(keeper.get("/api/v1/entries?withdrawn=true").json()["entries"]) == 1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"bin": "nowhere"}, "GET /api/v1/bins"),
        ({"kind": "lunch"}, "feed or bedding"),
        ({"ingredient": "stones:3"}, "feedstocks"),
        ({"ingredient": "melon"}, "grams"),
        ({"drained_g": 9999}, "drained_g"),
        ({"time": "yesterday"}, "RFC|offset"),
        ({"color": "red"}, "color"),
        ({"mass_g": "NaN"}, "mass_g"),
    ],
)
def test_a_bad_entry_gets_a_sentence(
    keeper: httpx.Client, change: dict[str, object], words: str
) -> None:
    answer = keeper.post("/api/v1/entries", json=FEED | change)
    assert answer.status_code == 422, answer.text
    detail = answer.json()["detail"]
    assert any(word in detail for word in words.split("|")), detail
    assert keeper.get("/api/v1/entries").json()["entries"] == []


def test_pages_of_entries_follow_each_other(keeper: httpx.Client) -> None:
    for minute in range(7):
        at = rfc3339(NOW_MS - minute * MINUTE_MS)
        keeper.post("/api/v1/entries", json={"bin": "tansy", "kind": "turned", "time": at})
    times, before = [], ""
    while True:
        page = keeper.get(f"/api/v1/entries?most=3&before={before}").json()
        times += [entry["time"] for entry in page["entries"]]
        before = page["next"]
        if not before:
            break
    assert times == sorted(times, reverse=True)
    assert len(set(times)) == 7


def test_curves_hold_no_more_points_than_asked_for(house: Household, reader: httpx.Client) -> None:
    house.readings.write(week_before(NOW_MS))
    house.watch.tick()
    series = reader.get("/api/v1/bins/tansy/series?points=340").json()
    assert series["points"] <= 340
    assert series["step_s"] == 1800
    channels = series["channels"]
    assert {"bed_temp_c", "headspace_rh_pct", "moisture_pct", "shed_temp_c"} <= set(channels)
    assert {"dew_point_c", "lid_film_g_m2"} <= set(channels)
    for columns in channels.values():
        for low, mean, high in zip(columns["low"], columns["mean"], columns["high"], strict=True):
            assert mean is None or low - 0.01 <= mean <= high + 0.01
    assert len(channels["bed_temp_c"]["mean"]) == series["points"]


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("from=yesterday", "from"),
        ("from=2026-06-12T00:00:00Z&until=2026-06-11T00:00:00Z", "before"),
        ("points=0", "points"),
        ("points=99999999", "points"),
        ("from=1970-01-01T00:00:00Z", "eleven years"),
    ],
)
def test_a_range_that_makes_no_sense(reader: httpx.Client, query: str, words: str) -> None:
    answer = reader.get(f"/api/v1/bins/tansy/series?{query}")
    assert answer.status_code == 422
    assert words in answer.json()["detail"]


def test_bins_and_probes_are_listed_and_placed(
    house: Household, lead: httpx.Client, keeper: httpx.Client
) -> None:
    assert [one["id"] for one in keeper.get("/api/v1/bins").json()] == ["borage", "sorrel", "tansy"]
    keeper.post("/api/v1/readings?shed=potting&probe=new-1", json={"bed_temp_c": 20})
    found = {one["id"]: one for one in keeper.get("/api/v1/probes").json()}
    assert not found["new-1"]["claimed"]
    place = {"shed": "potting", "bin": "sorrel", "depth_cm": 10}
    assert keeper.put("/api/v1/probes/new-1/place", json=place).status_code == 403
    assert lead.put("/api/v1/probes/new-1/place", json=place).json()["bin"] == "sorrel"
    assert house.records.setup().probes["new-1"].depth_cm == 10
    for wrong in ({"shed": "no"}, place | {"shed": "boiler"}, place | {"depth_cm": -1}, {"x": 1}):
        assert lead.put("/api/v1/probes/new-1/place", json=wrong).status_code == 422
    assert not lead.delete("/api/v1/probes/new-1/place").json()["claimed"]
    assert keeper.get("/api/v1/bins/nowhere").status_code == 404


def test_alerts_are_acknowledged_and_shelved(house: Household, keeper: httpx.Client) -> None:
    house.live_through(NOW_MS + 2 * HOUR_MS, bed_temp_c=34.5, headspace_temp_c=30.0)
    found = keeper.get("/api/v1/alerts?open=true&bin=tansy").json()["alerts"]
    (alert,) = [one for one in found if one["condition"] == "overheating"]
    assert alert["text"]
    path = f"/api/v1/alerts/{alert['id']}"
    assert " °C" in alert["text"]
    in_us = keeper.get(f"{path}?units=us").json()
    assert " °F" in in_us["text"]
    assert " °C" not in in_us["text"]
    assert in_us["evidence"] == alert["evidence"]
    assert keeper.get("/api/v1/alerts?units=us&open=true&bin=tansy").json()["alerts"] == [in_us]
    assert keeper.get(f"{path}?units=stone").status_code == 422
    assert keeper.post(f"{path}/acknowledge").json()["acknowledged_at"]
    until = rfc3339(house.clock.now_ms() + 4 * HOUR_MS)
    assert keeper.post(f"{path}/shelve", json={"until": until}).json()["shelved_until"] == until
    for wrong in ("soon", rfc3339(NOW_MS - HOUR_MS), rfc3339(NOW_MS + 9999 * HOUR_MS)):
        answer = keeper.post(f"{path}/shelve", json={"until": wrong})
        assert answer.status_code == 422
        assert "31 days" in answer.json()["detail"]
    assert keeper.post("/api/v1/alerts/none/acknowledge").status_code == 404
    state = keeper.get("/api/v1/bins/tansy/state").json()
    assert state["now"]["bed_temp_c"] == 34.5


def test_health_and_figures(house: Household, keeper: httpx.Client) -> None:
    stranger = httpx.Client(base_url=house.url, timeout=WAIT_S)
    assert stranger.get("/healthz").json() == {"status": "alive"}
    assert stranger.get("/readyz").status_code == 200
    house.health["store"] = "the disk is full"
    unwell = stranger.get("/readyz")
    assert unwell.status_code == 503
    assert unwell.json()["unwell"] == {"store": "the disk is full"}
    keeper.post(POST_READINGS, json={"bed_temp_c": 22})
    text = stranger.get("/metrics").text
    assert "underlid_readings_total 1.0" in text
    assert text.rstrip().endswith("# EOF")


def test_the_description_is_openapi_3_1_and_names_every_path(house: Household) -> None:
    described = httpx.Client(base_url=house.url, timeout=WAIT_S).get("/api/v1/openapi.json").json()
    assert described["openapi"].startswith("3.1")
    assert "/api/v1/readings" in described["paths"]
    operations = [one for path in described["paths"].values() for one in path.values()]
    assert all(one.get("summary") for one in operations)


def test_an_unknown_address_of_the_interface_is_a_problem(keeper: httpx.Client) -> None:
    answer = keeper.get("/api/v1/nothing")
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"


def test_the_weather_outside_is_kept_once_for_a_shed_that_is_there(
    lead: httpx.Client, keeper: httpx.Client
) -> None:
    hours = [{"time": rfc3339(NOW_MS + hour * HOUR_MS), "temp_c": 12.5} for hour in range(3)]
    path = "/api/v1/sheds/potting/weather"
    assert lead.put(path, json=hours).json() == {"shed": "potting", "new": 3}
    assert lead.put("/api/v1/sheds/nowhere/weather", json=hours).status_code == 404
    assert lead.put(path, json=[{"time": "yesterday", "temp_c": 1}]).status_code == 422
    assert lead.put(path, json=[{"time": rfc3339(NOW_MS), "temp_c": 99}]).status_code == 422
    assert keeper.put(path, json=hours).status_code == 403
