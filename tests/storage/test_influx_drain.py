"""From the buffer to a real InfluxDB that is away, slow, unwilling or killed: none lost, none twice."""

from __future__ import annotations

import random
import threading
from pathlib import Path

import pytest

from storage.influx_front import Fault
from storage.influx_rows import ROWS, poison, poisoned_rows, some_rows, stored
from storage.kept import KeptInInflux
from storage.readings_places import START_MS, all_rows, timed
from underlid.clock import VirtualClock
from underlid.readings.values import Reading
from underlid.storage.influx import backoff, drain
from underlid.storage.influx.backoff import Backoff
from underlid.storage.influx.drain import AWAY_TOLD_MS
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.influx.server import InfluxPlace
from underlid.storage.influx.trouble import AwayError, OperatorError
from underlid.timeline import DAY_MS
from waiting import wait_until


@pytest.fixture
def store(in_influx: KeptInInflux) -> InfluxReadings:
    opened = in_influx.open()
    assert isinstance(opened, InfluxReadings)
    return opened


@pytest.mark.parametrize(
    "fault",
    [
        Fault(status=500, body='{"error":"engine: cache is full"}'),
        Fault(status=503),
        Fault(status=408),
        Fault(cut=True),
        Fault(status=429, headers={"Retry-After": "7"}),
    ],
    ids=["500", "503", "408", "cut", "429"],
)
def test_what_cannot_be_sent_now_is_sent_later(
    in_influx: KeptInInflux, store: InfluxReadings, fault: Fault
) -> None:
    store.write(some_rows())
    in_influx.front.faults.append(fault)
    with pytest.raises(AwayError) as caught:
        store.drain.step()
    assert caught.value.retry_after_s == (7.0 if fault.status == 429 else 0.0)
    assert store.backlog().waiting == ROWS
    assert len(all_rows(store, "tansy-1")) == ROWS
    store.drain.empty()
    assert store.backlog().waiting == 0
    assert (len(all_rows(store, "tansy-1")), stored(in_influx)) == (ROWS, ROWS)


@pytest.mark.parametrize("status", [301, 401, 403, 404, 405])
def test_what_only_a_person_can_mend_is_told(
    in_influx: KeptInInflux, store: InfluxReadings, status: int
) -> None:
    store.write(some_rows())
    in_influx.front.always = Fault(status=status, body='{"message":"unauthorized access"}')
    store.start()
    wait_until(lambda: store.backlog().trouble is not None)
    assert "unauthorized access" in str(store.backlog().trouble)
    assert store.backlog().waiting == ROWS
    in_influx.front.always = None
    store.drain.hurry()
    wait_until(lambda: store.backlog().trouble is None)
    assert stored(in_influx) == ROWS


def test_a_wrong_token_and_a_missing_bucket_are_told_in_the_servers_words(
    in_influx: KeptInInflux, tmp_path: Path
) -> None:
    place = in_influx.place()
    for wrong, said in (
        (InfluxPlace(place.url, "underlid:wrong", "", place.bucket), "authorization failed"),
        (InfluxPlace(place.url, place.token, "", "nowhere/autogen"), "database not found"),
    ):
        store = InfluxReadings(tmp_path / f"{said[:8]}.sqlite", wrong, in_influx.clock)
        store.write(some_rows(1))
        with pytest.raises(OperatorError, match=said):
            store.drain.step()
        with pytest.raises(OperatorError, match=said):
            store.raw("tansy-1", 0, START_MS)
        store.close()


def test_a_server_that_is_not_there_is_told_after_a_while(tmp_path: Path) -> None:
    clock = VirtualClock(START_MS)
    nowhere = InfluxPlace("http://127.0.0.1:9", "a:b", "", "underlid/autogen")
    store = InfluxReadings(tmp_path / "buffer.sqlite", nowhere, clock)
    store.write(some_rows())
    store.start()
    wait_until(lambda: store.drain._away_since_ms is not None)
    assert store.backlog().trouble is None
    clock.set_ms(START_MS + AWAY_TOLD_MS)
    assert "no answer" in str(store.backlog().trouble)
    assert [one.probe for one in store.probes_seen()] == ["tansy-1"], "what waits here is known"
    assert not store.ping()
    assert store.pack(START_MS + DAY_MS) == 0
    with pytest.raises(AwayError):
        store.raw("tansy-1", 0, START_MS + DAY_MS)
    store.close()


def test_a_worker_without_readings_notices_as_well(tmp_path: Path) -> None:
    clock = VirtualClock(START_MS)
    nowhere = InfluxPlace("http://127.0.0.1:9", "a:b", "", "underlid/autogen")
    store = InfluxReadings(tmp_path / "buffer.sqlite", nowhere, clock)
    store.start()
    wait_until(lambda: store.drain._away_since_ms is not None)
    clock.set_ms(START_MS + AWAY_TOLD_MS)
    assert "no answer to a ping" in str(store.backlog().trouble)
    store.close()


def test_a_refused_row_goes_aside_with_the_servers_words(
    in_influx: KeptInInflux, store: InfluxReadings
) -> None:
    poison(in_influx)
    store.write(poisoned_rows(ROWS, (77,)))
    store.drain.empty()
    assert store.backlog().waiting == 0
    (refused,) = store.refused_rows()
    assert refused.reading.taken_at_ms == START_MS + 77_000
    assert refused.reading.values == {"bed_temp_c": 77.0, "bad": 1.0}
    assert "field type conflict" in refused.said
    assert stored(in_influx) == ROWS - 1
    store.retry_refused()
    assert store.backlog().waiting == 1
    store.drain.empty()
    assert len(store.refused_rows()) == 1, "refused again"
    in_influx.influxd.ask("DROP MEASUREMENT reading", in_influx.database)
    store.retry_refused()
    store.drain.empty()
    assert (stored(in_influx), store.backlog().refused) == (1, 0)


def test_a_batch_that_is_too_large_goes_in_parts(
    in_influx: KeptInInflux, store: InfluxReadings
) -> None:
    store.write(some_rows())
    in_influx.front.faults.extend([Fault(status=413), Fault(status=413)])
    store.drain.empty()
    assert (stored(in_influx), store.backlog().refused) == (ROWS, 0)


def test_when_too_much_is_refused_sending_stops(
    in_influx: KeptInInflux, store: InfluxReadings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(drain, "REFUSED_MOST", 5)
    in_influx.front.always = Fault(status=400, body='{"message":"no such thing"}')
    store.write(some_rows(8))
    assert store.drain.step() == 8
    store.write(some_rows(9, "sorrel-1"))
    with pytest.raises(OperatorError, match="were refused"):
        store.drain.step()
    assert (store.backlog().waiting, store.backlog().refused) == (9, 8)
    in_influx.front.always = None
    assert store.retry_refused() == 8
    store.drain.empty()
    assert stored(in_influx) == 17


def test_what_fits_no_line_is_refused_here(in_influx: KeptInInflux, store: InfluxReadings) -> None:
    store.write(
        [
            Reading("two words", "potting", START_MS, START_MS, {"bed_temp_c": 1.0}),
            Reading("tansy-1", 'pot"ting', START_MS, START_MS, {"bed_temp_c": 1.0}),
            Reading("sorrel-1", "potting", START_MS, START_MS, {"bed temp": 1.0}),
            Reading("fennel-1", "potting", -(10**15), START_MS, {"bed_temp_c": 1.0}),
            Reading("chive-1", "potting", START_MS, START_MS, {"bed_temp_c": 1.0}),
        ]
    )
    store.drain.empty()
    assert stored(in_influx) == 1
    said = {one.reading.probe: one.said for one in store.refused_rows()}
    assert sorted(said) == ["fennel-1", "sorrel-1", "tansy-1", "two words"]
    assert "two words" in said["two words"]


def test_a_row_that_changes_while_it_is_sent_goes_out_again(
    in_influx: KeptInInflux, store: InfluxReadings
) -> None:
    store.write(some_rows(3))
    in_influx.front.faults.append(Fault(slow_s=0.5))
    asked = in_influx.front.asked
    sending = threading.Thread(target=store.drain.step)
    sending.start()
    wait_until(lambda: in_influx.front.asked > asked)
    store.write([timed("tansy-1", START_MS + 1000, {"soil_raw": 7.0})])
    store.write([timed("tansy-1", START_MS + 500, {"soil_raw": 8.0})])
    sending.join()
    assert store.backlog().waiting == 2
    for _ in range(2):
        rows = all_rows(store, "tansy-1")
        assert rows[START_MS + 1000] == {"bed_temp_c": 1.0, "soil_raw": 7.0}
        assert rows[START_MS + 500] == {"soil_raw": 8.0}
        store.drain.empty()


def test_waits_grow_to_a_bound_and_do_as_they_are_asked() -> None:
    waits = Backoff(random.Random(3))
    found = [waits.again() for _ in range(12)]
    for n, wait_s in enumerate(found):
        full = min(backoff.LONGEST_S, backoff.FIRST_S * 2**n)
        assert full / 2 <= wait_s <= full
    assert waits.again(300.0) == 300.0
    assert waits.again(10.0**9) == backoff.ASKED_MOST_S
    waits.well()
    assert waits.again() <= backoff.FIRST_S
