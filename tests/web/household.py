"""A whole place in a folder: real stores, the real judge, the page served on a loopback port.

Who visits it is in `visiting.py`.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any

import httpx

from underlid.binmodel.bins import Bin, BinKind, ProbePlace, Setup, Shed, Species
from underlid.clock import Clock, VirtualClock
from underlid.config import load
from underlid.errors import UnderlidError
from underlid.journal.entries import KIND_OF, Entry, Feed, Portion, What
from underlid.journal.parse import entry_from_fields
from underlid.readings.values import Admitted, RawEntry, RawMessage, Reading
from underlid.storage.protocols import ReadingStore
from underlid.storage.recorder import Recorder
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, MINUTE_MS, parse_time_ms
from underlid.watch import Watch
from underlid.web.app import make_app
from underlid.web.context import Context
from underlid.web.live import Hub
from underlid.web.pages.entrance import attempts
from underlid.web.server import Server
from waiting import WAIT_S, wait_until

NOW_MS = parse_time_ms("2026-06-12T14:30:00+01:00")

SHEDS = {
    "potting": Shed("potting", "Potting shed", "air-1", "Europe/London"),
    "boiler": Shed("boiler", "Boiler room", None, "Europe/London"),
}
BINS = {
    "tansy": Bin("tansy", "potting", "Tansy", BinKind.FLOW_THROUGH_BAG),
    "sorrel": Bin("sorrel", "potting", "Sorrel", BinKind.PLASTIC_TOTE),
    "borage": Bin(
        "borage", "boiler", "Borage", BinKind.WOODEN_BOX, (Species.EISENIA_HORTENSIS,), 0.8
    ),
}
PROBES = {
    "tansy-1": ProbePlace("tansy-1", "potting", "tansy", 12.0, 2750.0, 1150.0),
    "sorrel-1": ProbePlace("sorrel-1", "potting", "sorrel", 12.0),
    "air-1": ProbePlace("air-1", "potting", None),
    "borage-1": ProbePlace("borage-1", "boiler", "borage"),
}
MELON_AND_BREAD = Feed((Portion("melon", 1500.0), Portion("bread", 300.0)), 250.0)


class Household:
    """`with Household(tmp_path) as house:` opens everything; leaving closes it."""

    def __init__(
        self,
        folder: Path,
        *,
        start_key: str = "",
        readings: Callable[[Clock], ReadingStore] | None = None,
        **settings: Any,
    ) -> None:
        attempts.clear()
        self.clock = VirtualClock(NOW_MS)
        self.records = Records.open(f"sqlite:///{folder / 'records.db'}")
        self.readings: ReadingStore = (
            readings(self.clock) if readings else SqliteReadings(folder / "readings.db")
        )
        self.recorder = Recorder(self.readings, self._keep_entry)
        self.watch = Watch(self.records, self.readings, self.clock, tick_s=60.0, channels=("mail",))
        self.hub = Hub()
        self.health: dict[str, str | None] = {"store": None}
        self.context = Context(
            settings=load(data=folder, **settings),
            clock=self.clock,
            records=self.records,
            readings=self.readings,
            recorder=self.recorder,
            judged=self.watch,
            live=self.hub,
            health={"store": lambda: self.health["store"]},
            start_key=start_key,
        )
        self.app = make_app(self.context)
        self.recorder.listen(self.watch.take)
        self.watch.listen(lambda judged: self.hub.publish({"kind": "judged", "bin": judged.bin}))

    def __enter__(self) -> Household:
        self.loop = asyncio.new_event_loop()
        self.thread = threading.Thread(target=self.loop.run_forever, daemon=True)
        self.thread.start()
        self.server = Server(self.app, "127.0.0.1", 0)
        asyncio.run_coroutine_threadsafe(self.server.start(), self.loop).result(WAIT_S)
        self.url = f"http://127.0.0.1:{self.server.port}"
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        asyncio.run_coroutine_threadsafe(self.server.stop(), self.loop).result(WAIT_S)
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(WAIT_S)
        self.loop.close()
        self.recorder.close()
        self.readings.close()
        self.records.close()

    def _keep_entry(self, raw: RawEntry) -> str | None:
        try:
            entry = entry_from_fields(
                raw.fields, known_at_ms=raw.received_at_ms, new_id=f"m{raw.received_at_ms}"
            )
            self.records.add_entry(entry)
        except UnderlidError as error:
            return str(error)
        return None

    def settle_in(self) -> None:
        """Set the potting shed and the boiler room up."""
        self.records.save_setup(Setup(SHEDS, BINS, PROBES))

    def send(
        self, probe: str, payload: bytes, at_ms: int | None = None, *, shed: str = "potting"
    ) -> None:
        """Bring a probe's message to disk, as a door does."""
        at_ms = self.clock.now_ms() if at_ms is None else at_ms
        told = threading.Event()
        message = RawMessage(f"underlid/v1/{shed}/{probe}/json", payload, at_ms)
        assert self.recorder.submit([message], lambda outcome: told.set())
        assert told.wait(WAIT_S)

    def write_down(self, what: What, ago_ms: int = 0, bin_id: str = "tansy") -> Entry:
        """Put an entry into the journal, as of *ago_ms* before now, and return it."""
        at_ms = self.clock.now_ms() - ago_ms
        entry = Entry(f"{KIND_OF[type(what)]}-{at_ms}", bin_id, at_ms, at_ms, what, "Ash")
        self.records.add_entry(entry)
        return entry

    def judge(self) -> dict[str, Any]:
        """Judge now and return what is thought of Tansy; all that was answered is taken in before."""
        wait_until(lambda: self.recorder.waiting == 0)
        self.clock.set_ms(self.clock.now_ms() + MINUTE_MS)
        self.watch.tick()
        state: dict[str, Any] | None = self.watch.state("tansy")
        assert state is not None
        return state

    def live_through(
        self,
        until_ms: int,
        *,
        probe: str = "tansy-1",
        shed: str = "potting",
        every_ms: int = MINUTE_MS,
        **values: float,
    ) -> None:
        """Let a probe say *values* again and again, judging along, until the clock shows *until_ms*."""
        while self.clock.now_ms() < until_ms:
            now_ms = self.clock.now_ms() + every_ms
            self.clock.set_ms(now_ms)
            reading = Reading(probe, shed, now_ms, now_ms, dict(values))
            self.readings.write([reading])
            self.watch.take(Admitted([reading], [], [], []))
            self.watch.tick()


def week_before(now_ms: int, *, every_ms: int = 5 * MINUTE_MS) -> list[Reading]:
    """Return a week of plain summer readings of every probe: a warm day, a cool night, a drying bed."""
    readings = []
    for taken in range(now_ms - 7 * DAY_MS, now_ms + 1, every_ms):
        share = (taken % DAY_MS) / DAY_MS
        warm = 4.0 * (1 - abs(share - 0.6) * 2)
        gone = (taken - now_ms) / DAY_MS
        bed = 21.0 + warm * 0.4 + max(0.0, 2.5 - abs(gone + 3.0) * 2)
        for probe, shed, values in (
            ("air-1", "potting", {"shed_temp_c": 16.0 + 2 * warm, "shed_rh_pct": 62.0 - 3 * warm}),
            (
                "tansy-1",
                "potting",
                {
                    "bed_temp_c": bed,
                    "headspace_temp_c": bed - 1.0 + warm * 0.3,
                    "headspace_rh_pct": 93.0 - warm,
                    "soil_raw": 1765.0 - gone * 4,
                    "battery_v": 3.9,
                },
            ),
            (
                "sorrel-1",
                "potting",
                {"bed_temp_c": bed - 0.6, "headspace_temp_c": bed - 1.2, "headspace_rh_pct": 95.0},
            ),
        ):
            rounded = {name: round(value, 2) for name, value in values.items()}
            readings.append(Reading(probe, shed, taken, taken, rounded))
    return readings


def program(house: Household, role: str) -> httpx.Client:
    """Return a program's client with a token of its own."""
    token = house.records.make_token(role, role)
    headers = {"authorization": f"Bearer {token}"}
    return httpx.Client(base_url=house.url, headers=headers, timeout=WAIT_S)
