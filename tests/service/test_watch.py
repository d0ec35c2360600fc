"""The live tick takes over what happens around it: set-up, journal, acts by another door."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from judge.series import START_MS, entry, melon, readings, setup
from notify.sinks import web_sink
from underlid import judge
from underlid.alerts.alert import AlertState
from underlid.binmodel.bins import Setup
from underlid.binmodel.window import BinWindow
from underlid.clock import VirtualClock
from underlid.journal.entries import Feed, Portion, Sighting
from underlid.notify.outbox import Courier
from underlid.notify.webhook import Webhook
from underlid.pipeline import Judgement
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
        self.channels = ["email"]
        self.watch = self.begin()

    def begin(self) -> Watch:
        watch = Watch(self.records, self.store, self.clock, tick_s=60, channels=self.channels)
        watch.start()
        return watch

    def live(self, from_h: float, until_h: float, bed_c: float | Callable[[float], float]) -> None:
        """Let time pass, a tick every five minutes: *bed_c* of a bed in a shed as warm, or by the hour."""
        shed_c = 19.0 if callable(bed_c) else bed_c - 1.0

        def bin_curve(hour: float) -> dict[str, float]:
            bed = bed_c(hour) if callable(bed_c) else bed_c
            head = shed_c + 1.0 + hour % 3
            return {"bed_temp_c": bed + 0.1 * (hour % 1), "headspace_temp_c": head}

        def air_curve(hour: float) -> dict[str, float]:
            return {"shed_temp_c": shed_c + hour % 2}

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


def test_who_was_told_of_heat_to_come_is_told_that_it_will_not(place: Place) -> None:
    def bed_c(hour: float) -> float:
        """Return a bed that bread warms until it is taken out again."""
        own = 0.8 * max(0.0, hour - 7) if hour < 15 else 6.4 * math.exp((15 - hour) / 5)
        return 20.0 + own

    with web_sink() as sink:
        courier = Courier(place.records, [Webhook(sink.address(), "key")], place.clock)
        place.channels = courier.channel_names
        place.watch = place.begin()
        place.records.add_entry(entry(6.5, Feed((Portion("bread", 2500.0),))))
        place.live(0, 15, bed_c)
        place.watch = place.begin()
        place.live(15, 26, bed_c)
        courier.drain_once(place.clock.now_ms())
        bodies = [json.loads(body) for _, _, body in sink.requests]
    told = [one for one in bodies if one["alert"] == bodies[0]["alert"]]
    assert [one["event"] for one in told] == ["alert_raised", "alert_returned"]
    assert told[0]["title"] == "Tansy: too warm ahead"
    assert told[1]["title"] == "Tansy: too warm not expected after all"
    assert "not get too warm after all" in told[1]["text"]


def test_a_bin_that_cannot_be_judged_leaves_the_others_judged(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    place.live(0, 2, 31.0)
    (alert,) = place.records.open_alerts()
    now = setup()
    other = replace(now.bins["tansy"], id="sorrel", name="Sorrel")
    place.records.save_setup(Setup(now.sheds, {**now.bins, "sorrel": other}, now.probes))
    sound = judge.evaluate
    tried_min: list[int] = []

    def broken(window: BinWindow, *rest: Any) -> Judgement:
        """Fail for one bin: a mistake of ours that only its data shows."""
        judgement = sound(window, *rest)
        if window.bin.id == "tansy":
            tried_min.append((window.now_ms - START_MS) // MINUTE_MS - 120)
            raise ZeroDivisionError
        return judgement

    with monkeypatch.context() as patched:
        patched.setattr(judge, "evaluate", broken)
        place.live(2, 3, 31.0)
        assert place.watch.failures == {"tansy": "ZeroDivisionError"}
        assert _judged_at_h(place, "sorrel") > 2.9
        assert 1.9 < _judged_at_h(place, "tansy") <= 2.0
        assert [one.id for one in place.records.open_alerts()] == [alert.id]
        assert [later - at for at, later in pairwise(tried_min)] == [5, 10, 20]
        place.records.add_entry(entry(2.9, Sighting()))
        place.live(3, 3.1, 31.0)
        assert tried_min[4:] == [60, 65]  # somebody wrote something: it may have been the reason
    place.live(3.1, 3.5, 31.0)
    assert not place.watch.failures
    assert _judged_at_h(place, "tansy") > 3.3
    assert alert.id in [one.id for one in place.records.open_alerts()]


def _judged_at_h(place: Place, bin_id: str) -> float:
    state = place.watch.state(bin_id)
    assert state is not None
    at_ms = datetime.fromisoformat(str(state["judged_at"])).timestamp() * 1000
    return (at_ms - START_MS) / HOUR_MS
