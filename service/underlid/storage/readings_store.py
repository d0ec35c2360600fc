"""The store of readings that the settings ask for: the one place that knows both.

InfluxDB's client is imported only where it is asked for: it takes 0.3 s of processor time and 12 MB
(measured) for which a service on SQLite has no use.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from underlid.clock import Clock
from underlid.config import Settings
from underlid.storage.protocols import ReadingStore
from underlid.storage.sqlite_readings import SqliteReadings

if TYPE_CHECKING:
    from underlid.storage.influx.readings import InfluxReadings
    from underlid.storage.influx.server import InfluxPlace, InfluxServer


def open_readings(settings: Settings, clock: Clock | None = None) -> ReadingStore:
    """Open the store to look things up; what waits for InfluxDB goes on waiting."""
    if settings.readings_store == "sqlite":
        return open_sqlite(settings)
    return open_influx(settings, clock)


def open_readings_to_run(settings: Settings, clock: Clock) -> ReadingStore:
    """Open the store for the service: what waits for InfluxDB is sent from now on."""
    if settings.readings_store == "sqlite":
        return open_sqlite(settings)
    store = open_influx(settings, clock)
    store.start()
    return store


def open_sqlite(settings: Settings) -> SqliteReadings:
    """Open the readings in the data folder, whatever the settings choose."""
    return SqliteReadings(settings.readings_path, settings.raw_days, settings.hourly_days)


def open_influx(settings: Settings, clock: Clock | None = None) -> InfluxReadings:
    """Open the readings in InfluxDB, whatever the settings choose."""
    from underlid.storage.influx.readings import InfluxReadings

    return InfluxReadings(settings.buffer_path, _place(settings), clock)


def influx_server(settings: Settings) -> InfluxServer:
    """Return the server that the settings name; nothing is asked of it yet."""
    from underlid.storage.influx.server import InfluxServer

    return InfluxServer(_place(settings))


def meet_influx(settings: Settings) -> None:
    """Ask InfluxDB for what it has of readings; raises `StoreError` when it does not answer."""
    from underlid.storage.influx.selecting import channels

    server = influx_server(settings)
    try:
        channels(server)
    finally:
        server.close()


def _place(settings: Settings) -> InfluxPlace:
    from underlid.storage.influx.server import InfluxPlace

    return InfluxPlace(
        settings.influxdb_url,
        settings.influxdb_token.get_secret_value(),
        settings.influxdb_org,
        settings.influxdb_bucket,
    )
