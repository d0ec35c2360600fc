"""A power cut in a shed is told once, and once when it is over; a probe alone is told as ever."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from underlid.alerts.alert import AlertState
from underlid.binmodel.bins import Bin, ProbePlace, Setup, Shed
from underlid.clock import VirtualClock
from underlid.readings.values import Admitted, Reading
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS
from underlid.watch import Watch

START_MS = 1_760_000_000_000 // DAY_MS * DAY_MS
BINS = ("sorrel", "tansy", "yarrow")
PROBES = ("sorrel-1", "tansy-1", "tansy-2", "yarrow-1", "air1")
SLOW = "yarrow-1"
"""It sends every half hour."""


class Place:
    """A shed of three bins on real stores, and a clock that the test moves."""

    def __init__(self, folder: Path) -> None:
        self.records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
        self.store = SqliteReadings(folder / "readings.sqlite")
        self.clock = VirtualClock(START_MS)
        places = [
            ProbePlace(one, "potting", None if one == "air1" else one.split("-", maxsplit=1)[0])
            for one in PROBES
        ]
        self.records.save_setup(
            Setup(
                {"potting": Shed("potting", "Potting shed", air_probe="air1")},
                {one: Bin(one, "potting", one.capitalize()) for one in BINS},
                {one.probe: one for one in places},
            )
        )
        self.begin()

    def begin(self) -> None:
        """Start a service, as if the one before had been killed."""
        self.watch = Watch(self.records, self.store, self.clock, tick_s=60, channels=["email"])
        self.watch.start()

    def live(self, from_h: float, until_h: float, silent: Collection[str] = ()) -> None:
        """Let time pass, a tick every five minutes; the probes that are not *silent* send."""
        for minute in range(round(from_h * 60), round(until_h * 60)):
            at_ms = START_MS + minute * MINUTE_MS
            self.clock.set_ms(at_ms)
            for number, probe in enumerate(PROBES):
                if probe in silent or (minute - number) % (30 if probe == SLOW else 5):
                    continue
                shed = {"shed_temp_c": 19.0 + minute % 7 / 10}
                own = {"bed_temp_c": 20.0 + minute % 3 / 10, "headspace_temp_c": 19.5}
                values = shed if probe == "air1" else own
                one = Reading(probe, "potting", at_ms - 1000, at_ms, values)
                self.store.write([one])
                self.watch.take(Admitted([one], [], [], []))
            if minute % 5 == 0:
                self.watch.tick()

    def told(self) -> list[tuple[str, str]]:
        """Return title and text of what went out, by time."""
        due = self.records.due_deliveries(self.clock.now_ms(), 100)
        messages = sorted((one.message for one in due), key=lambda one: one.at_ms)
        return [(one.title, one.text) for one in messages]


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    made = Place(tmp_path)
    yield made
    made.store.close()
    made.records.close()


CUT = (
    "Potting shed: probes silent",
    "All 5 probes of Potting shed have been silent since 02:58; look at its power and its network.",
)
BACK = ("Potting shed: probes send again", "The probes of Potting shed send again.")


@pytest.mark.parametrize("restarts_h", [(), (3.2, 4.6), (5.2, 8.1), (8.4, 9.5)])
def test_a_power_cut_is_told_once_and_its_end_once_over_restarts_too(
    place: Place, restarts_h: tuple[float, ...]
) -> None:
    marks = [0.0, *restarts_h, 10.0]
    for begin, until in pairwise(marks):
        if begin:
            place.begin()
        for part in ((0.0, 3.0, ()), (3.0, 8.0, PROBES), (8.0, 10.0, ())):
            place.live(max(begin, part[0]), min(until, part[1]), part[2])
    assert place.told() == [CUT, BACK]
    alerts = place.records.alerts(most=100)
    assert sorted(one.subject for one in alerts) == sorted(PROBES)
    assert {one.state for one in alerts} == {AlertState.RETURNED}


def test_a_second_cut_is_told_as_well(place: Place) -> None:
    place.live(0, 2)
    for hour in (2, 7):
        place.live(hour, hour + 3, PROBES)
        place.live(hour + 3, hour + 5)
    assert [title for title, _ in place.told()] == [CUT[0], BACK[0]] * 2


def test_a_probe_that_stays_silent_is_named_and_told_of_when_it_is_back(place: Place) -> None:
    place.live(0, 3)
    place.live(3, 6, PROBES)
    place.live(6, 9, ["sorrel-1"])
    assert place.told() == [
        (CUT[0], CUT[1]),
        (BACK[0], "The probes of Potting shed send again, but for sorrel-1."),
    ]
    place.live(9, 10)
    assert place.told()[2:] == [
        ("Sorrel: probe well again", "Probe sorrel-1 of Sorrel is well again.")
    ]


def test_what_falls_silent_alone_is_told_alone(place: Place) -> None:
    place.live(0, 2)
    place.live(2, 4, ["tansy-1"])
    place.live(4, 7, ["tansy-1", "tansy-2"])
    place.live(7, 8)
    assert [title for title, _ in place.told()] == [
        "Tansy: probe needs a look",
        "Tansy: probe needs a look",
        "Tansy: probe well again",
    ]


def test_of_some_of_a_shed_it_says_how_many_and_a_shelf_keeps_it_quiet(place: Place) -> None:
    place.live(0, 2)
    place.live(2, 5, [*PROBES[:2], "air1"])
    ((_, text),) = place.told()
    assert text.startswith("3 of the 5 probes of Potting shed have been silent since ")
    for alert in place.records.open_alerts():
        until_ms = START_MS + 24 * HOUR_MS
        place.watch.shelve(alert.id, until_ms, "Robin")
    place.live(5, 7)
    assert len(place.told()) == 1
