"""A whole place in a folder: real stores, the real judge, the page served on a loopback port, and
clients with the manners of a browser without scripts and of a program.
"""

from __future__ import annotations

import asyncio
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType

import httpx

from underlid.binmodel.bins import Bin, BinKind, ProbePlace, Setup, Shed, Species
from underlid.clock import VirtualClock
from underlid.config import load
from underlid.errors import UnderlidError
from underlid.journal.parse import entry_from_fields
from underlid.readings.values import Admitted, RawEntry, Reading
from underlid.storage.recorder import Recorder
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS, MINUTE_MS, parse_time_ms
from underlid.watch import Watch
from underlid.web.app import make_app
from underlid.web.context import Context
from underlid.web.live import Hub
from underlid.web.server import Server
from underlid.web.tokens import form_token

NOW_MS = parse_time_ms("2026-06-12T14:30:00+01:00")
PASSPHRASE = "four plain words do"
WAIT_S = 20.0

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


class Household:
    """`with Household(tmp_path) as house:` opens everything; leaving closes it."""

    def __init__(self, folder: Path, *, start_key: str = "", web_origin: str = "") -> None:
        self.clock = VirtualClock(NOW_MS)
        self.records = Records.open(f"sqlite:///{folder / 'records.db'}")
        self.readings = SqliteReadings(folder / "readings.db")
        self.recorder = Recorder(self.readings, self._keep_entry)
        self.watch = Watch(self.records, self.readings, self.clock, tick_s=60.0)
        self.hub = Hub()
        self.health: dict[str, str | None] = {"store": None}
        self.context = Context(
            settings=load(data=folder, web_origin=web_origin),
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

    def live_through(
        self, until_ms: int, *, probe: str = "tansy-1", shed: str = "potting", **values: float
    ) -> None:
        """Let a probe say *values* every minute, judging along, until the clock shows *until_ms*."""
        while self.clock.now_ms() < until_ms:
            now_ms = self.clock.now_ms() + MINUTE_MS
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


class Visitor:
    """A browser without scripts: keeps its cookie, sends the form token that belongs to it."""

    def __init__(self, house: Household) -> None:
        self.client = httpx.Client(base_url=house.url, timeout=WAIT_S)

    @property
    def cookie(self) -> str:
        """Return the session cookie, whatever it is called here."""
        return next((c.value or "" for c in self.client.cookies.jar if "session" in c.name), "")

    def get(self, path: str) -> httpx.Response:
        return self.client.get(path)

    def post(self, path: str, fields: dict[str, str] | None = None) -> httpx.Response:
        return self.client.post(
            path, data={"form_token": form_token(self.cookie), **(fields or {})}
        )

    def begin(self, name: str = "Ash") -> Visitor:
        """Be the first person here."""
        self.get("/start")
        answer = self.post("/start", {"name": name, "passphrase": PASSPHRASE, "again": PASSPHRASE})
        assert answer.status_code == 303, answer.text
        return self

    def log_in(self, name: str, passphrase: str = PASSPHRASE) -> Visitor:
        self.get("/login")
        assert self.post("/login", {"name": name, "passphrase": passphrase}).status_code == 303
        return self


def program(house: Household, role: str) -> httpx.Client:
    """Return a program's client with a token of its own."""
    token = house.records.make_token(role, role)
    headers = {"authorization": f"Bearer {token}"}
    return httpx.Client(base_url=house.url, headers=headers, timeout=WAIT_S)


def plain(answer: httpx.Response) -> str:
    """Return the words of a page, as they are read."""
    body = re.sub(r"<(script|style|title)\b.*?</\1>", " ", answer.text, flags=re.S)
    words = re.sub(r"<[^>]+>", " ", body)
    for code, letter in (
        ("&#39;", "'"),
        ("&#34;", '"'),
        ("&lt;", "<"),
        ("&gt;", ">"),
        ("&amp;", "&"),
    ):
        words = words.replace(code, letter)
    return " ".join(words.split())


@contextmanager
def settled(folder: Path) -> Iterator[tuple[Household, Visitor]]:
    """Give a household that is set up, has a week of readings and a lead who is logged in."""
    with Household(folder) as house:
        house.settle_in()
        house.readings.write(week_before(NOW_MS))
        house.watch.tick()
        yield house, Visitor(house).begin()
