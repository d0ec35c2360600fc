"""A place for several workers: a broker, an InfluxDB and a PostgreSQL of the test's own."""

from __future__ import annotations

import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from mqtt.brokers import PASSWORDS, Mosquitto
from service.forked import Forked, get_ready
from service.running import hears_probes
from storage.influx_front import Front
from storage.influxd import DATABASE, PASSWORD, USER, Influxd
from storage.postgres import cluster
from underlid.clock import Clock
from underlid.readings.values import Reading
from underlid.storage.influx.readings import InfluxReadings
from underlid.storage.influx.server import InfluxPlace
from underlid.storage.records import Records
from waiting import wait_until

LEASE_S = 2.0


class Several:
    """The servers, and any number of workers as processes of their own."""

    def __init__(self, folder: Path, start_ms: int, speed: float) -> None:
        self.folder = folder
        self.start_ms, self.speed = start_ms, speed
        get_ready()
        self.address = cluster().borrow()
        self.records = Records.open(self.address)
        self.influxd = Influxd(folder / "influxd")
        self.front = Front(self.influxd.url)
        (folder / "broker").mkdir()
        self.broker = Mosquitto(folder / "broker")
        self.broker.start()
        self.began_s = 0.0
        self.workers: dict[str, Forked] = {}

    @property
    def place(self) -> InfluxPlace:
        return InfluxPlace(self.front.url, f"{USER}:{PASSWORD}", "", f"{DATABASE}/autogen")

    def store(self, clock: Clock) -> InfluxReadings:
        """Return the readings as one more worker sees them."""
        return InfluxReadings(self.folder / "look.sqlite", self.place, clock)

    def keep(self, readings: Sequence[Reading], clock: Clock) -> None:
        """Put readings into InfluxDB before anybody is there."""
        store = self.store(clock)
        store.write(readings)
        store.drain.empty()
        store.close()

    def now_ms(self) -> int:
        """Return the time of all workers' clocks."""
        return self.start_ms + round((time.monotonic() - self.began_s) * self.speed * 1000)

    def begin(self) -> None:
        """Let the clock run."""
        self.began_s = time.monotonic()

    def start(self, name: str, role: str = "all", **more: object) -> Forked:
        """Start a worker, again if it was there before: with its name and its folder."""
        running = Forked(
            self.folder / name,
            role=role,
            worker=name,
            start_ms=self.start_ms,
            speed=self.speed,
            began_s=self.began_s,
            records_url=self.address,
            readings_store="influxdb",
            influxdb_url=self.place.url,
            influxdb_token=self.place.token,
            influxdb_bucket=self.place.bucket,
            door=False,
            broker_host="127.0.0.1",
            broker_port=self.broker.port,
            broker_user="underlid",
            broker_password=PASSWORDS["underlid"],
            lease_s=LEASE_S,
            **more,
        )
        self.workers[name] = running
        return running

    def start_together(self, roles: dict[str, str], **more: object) -> dict[str, Forked]:
        """Start workers at once; what is published when this returns is not missed."""
        with ThreadPoolExecutor() as pool:
            started = list(pool.map(lambda name: self.start(name, roles[name], **more), roles))
        for one in started:
            wait_until(lambda one=one: hears_probes(one.web))
        return dict(zip(roles, started, strict=True))

    def close(self) -> None:
        for worker in self.workers.values():
            worker.stop()
        self.broker.stop()
        self.front.stop()
        self.influxd.stop()
        self.records.close()
        cluster().give_back(self.address)
