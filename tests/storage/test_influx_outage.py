"""InfluxDB killed in the middle, and away for an hour: what was acknowledged is all there."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from storage.influx_front import Fault, Front
from storage.influx_rows import poison, poisoned_rows, stored
from storage.influxd import Influxd
from storage.kept import KeptInInflux
from storage.killed_sender import PROBES
from storage.readings_places import START_MS, all_rows, timed
from underlid.clock import VirtualClock
from underlid.readings.values import RawMessage, Reading
from underlid.storage.influx import buffer
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.recorder import Outcome, Recorder
from underlid.storage.trouble import StoreFullError
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS
from waiting import WAIT_S, wait_until


@pytest.fixture
def store(in_influx: KeptInInflux) -> InfluxReadings:
    opened = in_influx.open()
    assert isinstance(opened, InfluxReadings)
    return opened


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
        front.faults.extend(
            [Fault(), Fault(slow_s=2.0)]
        )  # the second is under way when it is killed
        store.start()
        wait_until(lambda: front.writes)
        influxd.kill()
        assert store.backlog().waiting > 0, "it was killed too late"
        influxd.start()
        store.drain.hurry()
        wait_until(lambda: not store.backlog().waiting)
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
    """The server hangs: an acknowledgement that waited for it would take longer than it may."""
    in_influx.front.always = Fault(status=503, slow_s=2 * WAIT_S)
    clock = in_influx.clock
    recorder = Recorder(store, keep_entry=lambda entry: None)
    store.start()
    outcomes: list[Outcome] = []
    asked = in_influx.front.asked
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
        assert answered.wait(WAIT_S)
        wait_until(
            lambda: in_influx.front.asked > asked
        )  # from the first minute on a request hangs
    assert [one.error for one in outcomes] == [None] * 60
    recorder.close()
    assert store.backlog().waiting == 1200
    in_influx.front.always = None
    clock.set_ms(START_MS + HOUR_MS)
    store.drain.empty()
    assert stored(in_influx) == 1200
    for n in range(20):
        assert len(all_rows(store, f"tansy-{n}")) == 60


def test_a_full_buffer_takes_nothing_until_the_server_takes_some(
    in_influx: KeptInInflux, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(buffer, "PAGES_MOST", 100)
    store = in_influx.open()
    assert isinstance(store, InfluxReadings)
    rows: list[Reading] = []
    taken = 0

    def write_on() -> None:
        nonlocal taken, rows
        while True:
            rows = [timed("tansy-1", START_MS + taken + n, {"a": 1.0}) for n in range(500)]
            store.write(rows)
            taken += 500

    with pytest.raises(StoreFullError):
        write_on()
    assert store.backlog().waiting == taken
    store.drain.empty()
    store.checkpoint()
    store.write(rows)
    store.drain.empty()
    assert stored(in_influx) == taken + 500


def test_a_sender_that_is_killed_sends_nothing_twice_and_all_of_it(
    in_influx: KeptInInflux, tmp_path: Path
) -> None:
    place = in_influx.place()
    file, promised = tmp_path / "killed.sqlite", -1
    writes = in_influx.front.writes
    for kill in range(3):
        before = len(writes)
        words = [str(file), place.url, place.token, place.bucket, str(promised + 1)]
        sender = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("killed_sender.py")), *words],
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        )
        assert sender.stdout is not None
        sender.stdout.readline()
        wait_until(lambda before=before: len(writes) > before)
        time.sleep(0.1 * kill)
        sender.kill()
        said = sender.stdout.read()
        sender.wait()
        whole = said[: said.rfind("\n") + 1].split()
        promised = int(whole[-1]) if whole else promised
    assert stored(in_influx) > 0
    store = InfluxReadings(file, place, in_influx.clock)
    store.drain.empty()
    for n in range(PROBES):
        values = store.raw(f"tansy-{n}", 0, 2 * START_MS).values["bed_temp_c"].tolist()
        assert values == [float(number) for number in range(len(values))]
        assert len(values) in (promised + 1, promised + 2)
    store.close()
