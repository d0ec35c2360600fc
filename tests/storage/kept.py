"""Where a test keeps readings: a SQLite file, or a file and an InfluxDB behind it, opened alike."""

from __future__ import annotations

import itertools
from pathlib import Path

from storage.influx_front import Front
from storage.influxd import PASSWORD, USER, Influxd
from underlid.clock import VirtualClock
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.influx.server import InfluxPlace
from underlid.storage.protocols import ReadingStore
from underlid.storage.sqlite_readings import SqliteReadings

Store = SqliteReadings | InfluxReadings

KINDS = ("sqlite", "influxdb")

_numbers = itertools.count()


class Kept:
    """One place; a store that is opened again finds what another left."""

    def __init__(self, folder: Path, clock: VirtualClock) -> None:
        self.folder = folder
        self.clock = clock
        self._opened: list[Store] = []

    def open(self) -> Store:
        """Open the place, as a restart does."""
        store = self._open()
        self._opened.append(store)
        return store

    def settle(self, store: ReadingStore, now_ms: int) -> None:
        """Let the store do by *now_ms* all that it does by itself in time: pack, or send on."""
        self.clock.set_ms(now_ms)
        store.pack(now_ms)

    def close_all(self) -> None:
        """Close what is open, as a stop does."""
        for store in self._opened:
            store.close()
        self._opened.clear()

    def close(self) -> None:
        """End it all."""
        self.close_all()

    def _open(self) -> Store:
        return SqliteReadings(self.folder / "readings.sqlite")


class KeptInInflux(Kept):
    """A database of its own in a server that the tests share."""

    def __init__(self, folder: Path, clock: VirtualClock, influxd: Influxd, front: Front) -> None:
        super().__init__(folder, clock)
        self.influxd = influxd
        self.front = front
        self.database = f"test{next(_numbers)}"
        influxd.ask(f"CREATE DATABASE {self.database}")

    def settle(self, store: ReadingStore, now_ms: int) -> None:
        assert isinstance(store, InfluxReadings)
        self.clock.set_ms(now_ms)
        store.drain.empty()
        super().settle(store, now_ms)

    def worker(self, name: str) -> InfluxReadings:
        """Open another worker's store, on the same server."""
        store = InfluxReadings(self.folder / f"{name}.sqlite", self.place(), self.clock)
        self._opened.append(store)
        return store

    def place(self) -> InfluxPlace:
        return InfluxPlace(self.front.url, f"{USER}:{PASSWORD}", "", f"{self.database}/autogen")

    def close(self) -> None:
        super().close()
        self.front.faults.clear()
        self.front.always = None
        self.influxd.ask(f"DROP DATABASE {self.database}")

    def _open(self) -> Store:
        return InfluxReadings(self.folder / "buffer.sqlite", self.place(), self.clock)
