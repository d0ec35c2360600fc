"""The live tick takes over what happens around it: set-up, journal, acts by another door."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from judge.series import START_MS, melon, readings, setup
from underlid.alerts.alert import AlertState
from underlid.clock import VirtualClock
from underlid.readings.values import Admitted
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import HOUR_MS, MINUTE_MS
from underlid.watch import Watch


class Place:
    """A watch on real stores and a clock that the test moves."""

    def __init__(self, folder: Path) -> None:
        self.records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
        self.store = SqliteReadings(folder / "readings.sqlite")
        self.clock = VirtualClock(START_MS)
        self.records.save_setup(setup())
        self.watch = self.begin()

    def begin(self) -> Watch:
        watch = Watch(self.records, self.store, self.clock, tick_s=60, channels=["email"])
        watch.start()
        return watch

    def live(self, from_h: float, until_h: float, bed_c: float) -> None:
        """Let time pass with a bed at *bed_c*, a tick every five minutes."""

        def bin_curve(hour: float) -> dict[str, float]:
            return {"bed_temp_c": bed_c + 0.1 * (hour % 1), "headspace_temp_c": 20 + hour % 3}

        def air_curve(hour: float) -> dict[str, float]:
            return {"shed_temp_c": 19.0 + hour % 2}

        for one in readings(bin_curve, air_curve, until_h):
            if one.taken_at_ms < START_MS + from_h * HOUR_MS:
                continue
            self.store.write([one])
            self.clock.set_ms(one.taken_at_ms)
            self.watch.take(Admitted([one], [], [], []))
            self.watch.tick()


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    made = Place(tmp_path)
    yield made
    made.store.close()
    made.records.close()


def test_an_alert_is_stored_with_its_message_and_survives_a_restart(place: Place) -> None:
    place.records.add_entry(melon(0))
    place.live(0, 3, 31.0)
    (alert,) = place.records.open_alerts()
    assert alert.state is AlertState.ACTIVE
    (delivery,) = place.records.due_deliveries(place.clock.now_ms(), 10)
    assert delivery.channel == "email"
    place.watch = place.begin()
    place.live(3, 4, 31.0)
    assert [one.id for one in place.records.open_alerts()] == [alert.id]
    assert len(place.records.due_deliveries(place.clock.now_ms(), 10)) == 1


def test_acknowledging_and_shelving_by_another_door_stand(place: Place) -> None:
    place.live(0, 2, 31.0)
    (alert,) = place.records.open_alerts()
    now_ms = place.clock.now_ms()
    place.records.acknowledge(alert.id, "Robin", now_ms)
    place.records.shelve(alert.id, now_ms + 48 * HOUR_MS, "Robin", now_ms)
    place.live(2, 4, 31.0)
    (later,) = place.records.open_alerts()
    assert later.acknowledged_by == "Robin"
    assert later.shelved_until_ms == now_ms + 48 * HOUR_MS
    place.live(4, 6, 34.5)
    assert len(place.records.due_deliveries(place.clock.now_ms(), 10)) == 1


def test_a_bin_added_while_running_is_judged(place: Place) -> None:
    place.live(0, 1, 20.0)
    place.records.remove_bin("tansy")
    place.watch.tick()
    assert place.watch.state("tansy") is None
    place.records.save_setup(setup())
    place.live(1, 1.2, 20.0)
    state = place.watch.state("tansy")
    assert state is not None
    assert place.watch.derived("tansy") is not None
    assert place.watch.lag_s() < MINUTE_MS
