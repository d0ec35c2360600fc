"""A whole service behind the page: real records, readings and recorder in a folder of the test's own.

Only the judge is a hand-written one: it answers what the test set, and keeps acknowledgements in
the real records as the live one does.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event

import numpy as np
import numpy.typing as npt

from underlid.binmodel.bins import Bin, BinKind, ProbePlace, Setup, Shed, Species
from underlid.clock import VirtualClock
from underlid.config import Settings
from underlid.readings.values import RawEntry, RawMessage
from underlid.storage.recorder import Outcome, Recorder
from underlid.storage.records import Records, Role
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import MINUTE_MS
from underlid.web.context import Context
from underlid.web.live import Hub

NOW_MS = 1_782_035_400_000
"""2026-06-21T09:50:00Z."""

PASSPHRASE = "damp straw and melon rind"
SHED = Shed("potting", "Potting shed", "air-1", "Europe/London")
TANSY = Bin("tansy", "potting", "Tansy", BinKind.FLOW_THROUGH_BAG, (Species.EISENIA_FETIDA,), 1.2)
SORREL = Bin("sorrel", "potting", "Sorrel", BinKind.PLASTIC_TOTE)
PLACES = (
    ProbePlace("tansy-1", "potting", "tansy", 15.0, 2750.0, 1150.0),
    ProbePlace("air-1", "potting", None),
)
SETUP = Setup(
    {SHED.id: SHED},
    {one.id: one for one in (TANSY, SORREL)},
    {place.probe: place for place in PLACES},
)


@dataclass
class FiveMinutes:
    """Computed series as the judge gives them."""

    start_ms: npt.NDArray[np.int64]
    series: dict[str, npt.NDArray[np.float64]]


@dataclass
class SetJudge:
    """Answers what a test has set; acknowledges and shelves in the records."""

    records: Records
    now_ms: Callable[[], int]
    states: dict[str, dict[str, object]] = field(default_factory=dict)
    computed: dict[str, FiveMinutes] = field(default_factory=dict)

    def state(self, bin_id: str) -> dict[str, object] | None:
        return self.states.get(bin_id)

    def derived(self, bin_id: str) -> FiveMinutes | None:
        return self.computed.get(bin_id)

    def acknowledge(self, alert_id: str, by: str) -> None:
        self.records.acknowledge(alert_id, by, self.now_ms())

    def shelve(self, alert_id: str, until_ms: int, by: str) -> None:
        self.records.shelve(alert_id, until_ms, by, self.now_ms())

    def lag_s(self) -> float:
        return 3.0


class Place:
    """A service with everything but judge, doors and telling."""

    def __init__(self, folder: Path, origin: str = "", start_key: str = "") -> None:
        self.clock = VirtualClock(NOW_MS)
        self.records = Records.open(f"sqlite:///{folder / 'records.db'}")
        self.readings = SqliteReadings(folder / "readings.db")
        self.recorder = Recorder(self.readings, refuse_entry)
        self.judge = SetJudge(self.records, self.clock.now_ms)
        self.unwell: dict[str, str | None] = {"store": None}
        self.context = Context(
            settings=Settings(data=folder, web_origin=origin),
            clock=self.clock,
            records=self.records,
            readings=self.readings,
            recorder=self.recorder,
            judged=self.judge,
            live=Hub(),
            health={"store": lambda: self.unwell["store"]},
            start_key=start_key,
        )

    def furnish(self) -> None:
        """Set up a shed, two bins, two probes and a person of every role."""
        self.records.save_setup(SETUP)
        for name, role in (("Ash", Role.LEAD), ("Robin", Role.KEEPER), ("Guest", Role.READER)):
            self.records.add_person(name, role, PASSPHRASE)

    def send(self, topic: str, payload: bytes) -> Outcome:
        """Bring a message to disk."""
        return self.send_all([RawMessage(topic, payload, self.clock.now_ms())])

    def send_all(self, messages: list[RawMessage]) -> Outcome:
        """Bring messages to disk in one submission."""
        told = Event()
        outcomes: list[Outcome] = []

        def done(outcome: Outcome) -> None:
            outcomes.append(outcome)
            told.set()

        assert self.recorder.submit(messages, done)
        assert told.wait(10)
        return outcomes[0]

    def fill_week(self) -> None:
        """Give Tansy a week of half-hourly readings and computed series that fit them."""
        times = np.arange(NOW_MS - 7 * 24 * 60 * MINUTE_MS, NOW_MS + 1, 30 * MINUTE_MS)
        hours = (times - times[0]) / (60 * MINUTE_MS)
        warm = 4.5 * np.exp(-(((hours - 95) / 22) ** 2))
        day = np.sin(hours / 24 * 2 * np.pi)
        shed = 14.5 + 3.2 * day
        bed = 20.5 + warm + 0.5 * day
        head = 17.8 + 0.6 * warm + 1.8 * day
        rh = np.minimum(99.5, 88 + 2.2 * warm - 2.5 * day)
        soil = 1650 + 2.2 * hours - 60 * (warm > 1)
        messages = []
        for n, at_ms in enumerate(times):
            body = (
                f'{{"ts":{at_ms / 1000},"bed_temp_c":{bed[n]:.2f},"headspace_temp_c":{head[n]:.2f},'
                f'"headspace_rh_pct":{rh[n]:.1f},"soil_raw":{soil[n]:.0f},"battery_v":3.91}}'
            )
            air = f'{{"ts":{at_ms / 1000},"shed_temp_c":{shed[n]:.2f},"shed_rh_pct":71}}'
            for topic, text in (("tansy-1", body), ("air-1", air)):
                messages.append(
                    RawMessage(f"underlid/v1/potting/{topic}/json", text.encode(), int(at_ms))
                )
        self.send_all(messages)
        dew = head - (100 - rh) / 5
        film = np.clip(np.cumsum(np.where(dew > head - 0.9, 9.0, -3.0)), 0, 140)
        self.judge.computed["tansy"] = FiveMinutes(
            times, {"dew_point_c": dew, "lid_film_g_m2": film, "lid_margin_k": head - dew}
        )

    def close(self) -> None:
        """Let go of the files."""
        self.recorder.close()
        self.readings.close()
        self.records.close()


def refuse_entry(entry: RawEntry) -> str | None:
    """Take no entries by message: the page's tests write them by form and interface."""
    return f"no entry is taken here, from shed {entry.shed}"
