"""From the buffer to a real InfluxDB that is away, slow, unwilling or killed: none lost, none twice."""

from __future__ import annotations

import random
import threading
import time
from pathlib import Path

import pytest

from storage.influx_front import Fault, Front
from storage.influxd import Influxd
from storage.kept import KeptInInflux
from storage.readings_places import START_MS, all_rows, timed
from underlid.clock import VirtualClock
from underlid.readings.values import RawMessage, Reading
from underlid.storage.influx import backoff, drain
from underlid.storage.influx.backoff import Backoff
from underlid.storage.influx.drain import AWAY_TOLD_MS
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.influx.server import InfluxPlace
from underlid.storage.influx.trouble import AwayError, OperatorError
from underlid.storage.recorder import Outcome, Recorder
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS

ROWS = 300


@pytest.fixture
def store(in_influx: KeptInInflux) -> InfluxReadings:
    opened = in_influx.open()
    assert isinstance(opened, InfluxReadings)
    return opened


def some_rows(count: int = ROWS, probe: str = "tansy-1") -> list[Reading]:
    return [timed(probe, START_MS + n * 1000, {"bed_temp_c": float(n)}) for n in range(count)]


def stored(kept: KeptInInflux) -> int:
    """Return how many readings the server itself counts."""
    found = kept.influxd.ask('SELECT count("received_at_ms") FROM reading', kept.database)
    return int(found[0][1]) if found else 0  # type: ignore[call-overload]


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
    while store.backlog().trouble is None:
        time.sleep(0.01)
    assert "unauthorized access" in str(store.backlog().trouble)
    assert store.backlog().waiting == ROWS
    in_influx.front.always = None
    store.drain.hurry()
    while store.backlog().trouble is not None:
        time.sleep(0.01)
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
    while store.drain._away_since_ms is None:
        time.sleep(0.01)
    assert store.backlog().trouble is None
    clock.set_ms(START_MS + AWAY_TOLD_MS)
    assert "no answer" in str(store.backlog().trouble)
    assert [one.probe for one in store.probes_seen()] == ["tansy-1"], "what waits here is known"
    assert not store.ping()
    assert store.pack(START_MS + DAY_MS) == 0
    with pytest.raises(AwayError):
        store.raw("tansy-1", 0, START_MS + DAY_MS)
    store.close()


def poison(kept: KeptInInflux) -> None:
    """Let another program have written a text where poisoned rows will put a number."""
    kept.influxd.write(
        "\n".join(f'reading,probe=tansy-1 bad="x" {START_MS + n}000000' for n in range(3)),
        kept.database,
    )


def poisoned_rows(count: int, bad: tuple[int, ...]) -> list[Reading]:
    rows = some_rows(count)
    for n in bad:
        rows[n] = timed("tansy-1", START_MS + n * 1000, {"bed_temp_c": float(n), "bad": 1.0})
    return rows


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
    sending = threading.Thread(target=store.drain.step)
    sending.start()
    time.sleep(0.2)
    store.write([timed("tansy-1", START_MS + 1000, {"soil_raw": 7.0})])
    store.write([timed("tansy-1", START_MS + 500, {"soil_raw": 8.0})])
    sending.join()
    assert store.backlog().waiting == 2
    for _ in range(2):
        rows = all_rows(store, "tansy-1")
        assert rows[START_MS + 1000] == {"bed_temp_c": 1.0, "soil_raw": 7.0}
        assert rows[START_MS + 500] == {"soil_raw": 8.0}
        store.drain.empty()


def test_killed_in_mid_drain_with_two_poisoned_rows(tmp_path: Path) -> None:
    total, bad = 20_000, (7_777, 13_131)
    influxd = Influxd(tmp_path / "influxd")
    front = Front(influxd.url)
    kept = KeptInInflux(tmp_path, VirtualClock(START_MS), influxd, front)
    try:
        poison(kept)
        store = kept.open()
        assert isinstance(store, InfluxReadings)
        rows = poisoned_rows(total, bad)
        for first in range(0, total, 4000):
            store.write(rows[first : first + 4000])
        store.start()
        while not front.writes:
            time.sleep(0.001)
        influxd.kill()
        time.sleep(0.3)
        assert store.backlog().waiting > 0, "it was killed too late"
        influxd.start()
        store.drain.hurry()
        while store.backlog().waiting:
            time.sleep(0.02)
        assert stored(kept) == total - 2
        assert {one.reading.taken_at_ms for one in store.refused_rows()} == {
            START_MS + n * 1000 for n in bad
        }
        series = store.raw("tansy-1", START_MS, START_MS + DAY_MS)
        good = [float(n) for n in range(total) if n not in bad]
        kept_values = [one for one in series.values["bed_temp_c"].tolist() if one == one]
        assert kept_values == good
    finally:
        kept.close_all()
        front.stop()
        influxd.stop()


def test_an_hour_without_the_server_delays_no_acknowledgement(
    in_influx: KeptInInflux, store: InfluxReadings
) -> None:
    """The server hangs: whoever waited for it once would wait longer than this whole test may take."""
    patience_s = 20.0
    in_influx.front.always = Fault(status=503, slow_s=patience_s)
    clock = in_influx.clock
    recorder = Recorder(store, keep_entry=lambda entry: None)
    store.start()
    outcomes: list[Outcome] = []
    asked = in_influx.front.asked
    began = time.monotonic()
    for minute in range(60):
        clock.set_ms(START_MS + minute * MINUTE_MS)
        at_ms = clock.now_ms()
        batch = [
            RawMessage(
                f"underlid/v1/potting/tansy-{n}/json",
                b'{"ts":%d,"bed_temp_c":%d}' % (at_ms // 1000, minute),
                at_ms,
            )
            for n in range(20)
        ]
        answered = threading.Event()

        def done(outcome: Outcome, answered: threading.Event = answered) -> None:
            outcomes.append(outcome)
            answered.set()

        assert recorder.submit(batch, done)
        assert answered.wait(patience_s)
        while in_influx.front.asked == asked:
            time.sleep(0.01)  # from the first minute on a request hangs
    assert time.monotonic() - began < patience_s
    assert [one.error for one in outcomes] == [None] * 60
    recorder.close()
    assert store.backlog().waiting == 1200
    in_influx.front.always = None
    clock.set_ms(START_MS + HOUR_MS)
    store.drain.empty()
    assert stored(in_influx) == 1200
    for n in range(20):
        assert len(all_rows(store, f"tansy-{n}")) == 60


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
