"""Several workers on one InfluxDB: each has a file of its own, and all read the same."""

from __future__ import annotations

import pytest

from storage.influx_front import Fault
from storage.kept import KeptInInflux
from storage.readings_places import START_MS, all_rows, check_buckets, timed, untimed
from underlid.readings.values import Reading
from underlid.storage.arrivals import Arrivals
from underlid.storage.influx import known
from underlid.storage.influx.outgoing import LIVE_MS, PROMPT_MS
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.influx.trouble import AwayError
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS
from waiting import wait_until

LATER_MS = START_MS + DAY_MS


@pytest.fixture(autouse=True)
def ask_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known, "FRESH_S", 0.0)


@pytest.fixture
def one(in_influx: KeptInInflux) -> InfluxReadings:
    return in_influx.worker("one")


@pytest.fixture
def two(in_influx: KeptInInflux) -> InfluxReadings:
    return in_influx.worker("two")


@pytest.fixture
def looker(in_influx: KeptInInflux) -> InfluxReadings:
    """Return a worker that takes nothing in: pages, or a judge."""
    return in_influx.worker("looker")


def arrived(follower: Arrivals, now_ms: int) -> list[tuple[str, int]]:
    return [(one.probe, one.taken_at_ms) for news in follower.news(now_ms) for one in news]


def test_an_absence_does_not_pass_for_silence(
    in_influx: KeptInInflux, one: InfluxReadings, looker: InfluxReadings
) -> None:
    """A judge that is filled while the server is away must not begin with nothing."""
    one.write([timed("tansy-1", START_MS, {"bed_temp_c": 20.0})])
    one.drain.empty()
    span = (["tansy-1"], START_MS, START_MS + HOUR_MS, MINUTE_MS)
    in_influx.front.faults.extend([Fault(status=503, path="/query")] * 3)
    assert looker.probes_seen() == [], "what is known, for a page"
    with pytest.raises(AwayError):
        looker.probes_seen(sure=True)
    with pytest.raises(AwayError):
        list(looker.buckets_of_all(*span))
    assert [probe for probe, _ in looker.buckets_of_all(*span)] == ["tansy-1"]
    assert [one.probe for one in looker.probes_seen(sure=True)] == ["tansy-1"]


def test_what_one_sends_all_see(
    in_influx: KeptInInflux, one: InfluxReadings, two: InfluxReadings, looker: InfluxReadings
) -> None:
    one.write([timed("tansy-1", START_MS, {"bed_temp_c": 20.0})])
    two.write([timed("tansy-1", START_MS + 1000, {"bed_temp_c": 21.0, "battery_v": 3.9})])
    two.write([Reading("sorrel-1", "lean-to", START_MS, START_MS, {"bed_temp_c": 19.0})])
    assert len(all_rows(one, "tansy-1")) == 1
    assert looker.probes_seen() == []
    one.drain.empty()
    two.drain.empty()
    for store in (one, two, looker):
        assert len(all_rows(store, "tansy-1")) == 2
        seen = {each.probe: each for each in store.probes_seen()}
        assert {name: each.shed for name, each in seen.items()} == {
            "sorrel-1": "lean-to",
            "tansy-1": "potting",
        }
        assert seen["tansy-1"].last_values == {"bed_temp_c": 21.0, "battery_v": 3.9}
        assert seen["tansy-1"].first_taken_at_ms == START_MS
    in_influx.clock.set_ms(START_MS + 2000)
    one.write([timed("tansy-1", START_MS + 2000, {"bed_temp_c": 22.0})])
    one.drain.empty()
    again = looker.probe_seen("tansy-1")
    assert again is not None
    assert again.last_values["bed_temp_c"] == 22.0


def test_a_resend_that_reaches_another_worker_is_one_row_with_its_first_receipt(
    in_influx: KeptInInflux, one: InfluxReadings, two: InfluxReadings
) -> None:
    one.write([timed("tansy-1", START_MS, {"bed_temp_c": 20.0}, delay_ms=40)])
    one.drain.empty()
    follower = Arrivals(two, START_MS)
    in_influx.clock.set_ms(START_MS + HOUR_MS)
    two.write([timed("tansy-1", START_MS, {"bed_temp_c": 20.0}, delay_ms=HOUR_MS)])
    two.drain.empty()
    series = one.raw("tansy-1", 0, LATER_MS)
    assert series.received_at_ms.tolist() == [START_MS + 40]
    assert arrived(follower, START_MS + HOUR_MS) == []


def test_late_rows_of_one_make_the_hours_of_another_stale(
    in_influx: KeptInInflux, one: InfluxReadings, two: InfluxReadings, looker: InfluxReadings
) -> None:
    one.write([timed("tansy-1", START_MS + n * MINUTE_MS, {"soil_raw": n}) for n in range(180)])
    one.drain.empty()
    in_influx.clock.set_ms(LATER_MS)
    assert one.pack(LATER_MS) == 3
    two.write([timed("tansy-1", START_MS + 61 * MINUTE_MS + 1, {"soil_raw": 999.0})])
    two.drain.empty()
    for _ in range(2):
        rows = all_rows(looker, "tansy-1")
        assert len(rows) == 181
        for store in (one, two, looker):
            found = store.buckets("tansy-1", START_MS, START_MS + 4 * HOUR_MS, HOUR_MS)
            check_buckets(found, rows, START_MS, START_MS + 4 * HOUR_MS)
        assert two.pack(LATER_MS) in (1, 0)
    before = len(in_influx.front.queries)
    looker.buckets("tansy-1", START_MS, START_MS + 3 * HOUR_MS, HOUR_MS)
    asked = in_influx.front.queries[before:]
    assert not any("FROM+reading" in query for query in asked), "all three are kept"


def test_rows_that_were_held_up_arrive_when_they_are_sent(
    in_influx: KeptInInflux, one: InfluxReadings, looker: InfluxReadings
) -> None:
    follower = Arrivals(looker, START_MS)
    one.write([timed("tansy-1", START_MS + n * 1000, {"bed_temp_c": 20.0}) for n in range(30)])
    now_ms = START_MS + DAY_MS
    in_influx.clock.set_ms(now_ms)
    assert arrived(follower, now_ms) == []
    one.drain.empty()
    assert arrived(follower, now_ms) == [("tansy-1", START_MS + n * 1000) for n in range(30)]
    assert arrived(follower, now_ms + 1000) == []
    series = looker.raw("tansy-1", 0, LATER_MS)
    assert series.received_at_ms.tolist() == series.taken_at_ms.tolist(), "the receipt is kept"


@pytest.mark.parametrize("delay_ms", [0, PROMPT_MS, LIVE_MS + 1, 3 * HOUR_MS, 30 * DAY_MS])
def test_every_row_arrives_once_however_late(
    in_influx: KeptInInflux, one: InfluxReadings, looker: InfluxReadings, delay_ms: int
) -> None:
    now_ms = START_MS + 40 * DAY_MS
    in_influx.clock.set_ms(now_ms)
    follower = Arrivals(looker, now_ms)
    expected, found = [], []
    for minute in range(5):
        at_ms = now_ms + minute * MINUTE_MS
        in_influx.clock.set_ms(at_ms)
        rows = [
            timed(f"tansy-{n}", at_ms - delay_ms + n, {"bed_temp_c": 20.0}, delay_ms)
            for n in range(20)
        ]
        one.write(rows)
        one.drain.empty()
        expected += [(row.probe, row.taken_at_ms) for row in rows]
        found += arrived(follower, at_ms)
    assert sorted(found) == sorted(expected)


def test_readings_without_a_time_rest_until_their_place_is_safe(
    in_influx: KeptInInflux, one: InfluxReadings
) -> None:
    one.write([untimed("tansy-1", START_MS, {"bed_temp_c": 20.0})])
    one.drain.empty()
    one.write([untimed("tansy-1", START_MS, {"bed_temp_c": 21.0})])
    assert one.backlog().waiting == 2
    in_influx.clock.set_ms(START_MS + 5000)
    one.drain.empty()
    assert one.backlog().waiting == 0
    values = [row["bed_temp_c"] for row in all_rows(one, "tansy-1").values()]
    assert values == [20.0, 21.0]


def test_a_drain_on_its_thread_sends_what_comes(one: InfluxReadings) -> None:
    one.start()
    one.write([timed("tansy-1", START_MS, {"bed_temp_c": 20.0})])
    wait_until(lambda: not one.backlog().waiting)
    assert len(all_rows(one, "tansy-1")) == 1
